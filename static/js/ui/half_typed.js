/**
 * What stands half typed in fields that no draft keeps, a PIN or a part of a name, while a screen is brought
 * up to date: it stays where the same field stands again, and so does the cursor in any field. It is held for
 * this moment alone, and nowhere but here.
 */
const FIELDS = 'input:not([type="checkbox"]), textarea';
const UNKEPT = '.pin, [type="search"]';

/** @typedef {HTMLInputElement|HTMLTextAreaElement} Field */

/** @type {(root: HTMLElement) => Field[]} */
const fieldsOf = root => [...root.querySelectorAll(FIELDS)].map(field => /** @type {Field} */ (field));

/** What tells a field from another one: a PIN of somebody else is another field. */
const nameOf = (root, field) =>
  JSON.stringify([
    root.dataset.screen,
    root.dataset.step,
    root.dataset.kind,
    field.id,
    field.getAttribute('aria-label'),
    [...(field.labels ?? [])].map(label => label.textContent),
  ]);

/** {what each field is: what stands in it, and where the cursor is if it is there}. */
export function halfTyped(root) {
  const place = field =>
    field === document.activeElement ? [field.selectionStart, field.selectionEnd] : null;
  return new Map(
    fieldsOf(root).map(field => [nameOf(root, field), {value: field.value, cursor: place(field)}]),
  );
}

/** Put back what `halfTyped` saw; true when the cursor stands in a field again. */
export function putBack(root, before) {
  let focused = false;
  for (const field of fieldsOf(root)) {
    const was = before.get(nameOf(root, field));
    if (!was) continue;
    if (field.matches(UNKEPT) && was.value !== '') {
      field.value = was.value;
      field.dispatchEvent(new Event('input'));
    }
    if (was.cursor === null || field.value !== was.value) continue;
    field.focus({preventScroll: true});
    field.setSelectionRange(was.cursor[0], was.cursor[1]);
    focused = true;
  }
  return focused;
}
