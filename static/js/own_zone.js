/** Offers the browser's own time zone where none was typed: it stands there to be read and changed. */

const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
const field = document.getElementById('shop_time_zone');
if (field instanceof HTMLInputElement && !field.value && zone) field.value = zone;
