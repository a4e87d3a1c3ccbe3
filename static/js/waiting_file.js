/**
 * What waits on this tablet, as a file for the lead's desk: the signed texts and sealed PINs that an upload
 * would carry. Writing it changes nothing here; everything stays until the server itself has answered.
 */
const DOMAIN = 'zerokeep/waiting/1';
const KEPT_FOR_MS = 60_000;

/** {name, text} of the file; `rows` as the outbox keeps them, in the order of the chain, at most 20,000. */
export function waitingFile(device, rows, atUtc) {
  const events = [...rows]
    .sort((one, other) => one.sequence - other.sequence)
    .map(({jws, pin}) => ({jws, pin: pin ?? null}));
  const moment = atUtc.replaceAll(/[-:]/g, '').slice(0, 15);
  const called = device.label.replaceAll(/[^\p{L}\p{N}]+/gu, '-').replaceAll(/^-|-$/g, '') || 'tablet';
  return {
    name: `waiting-${called}-${moment}.json`,
    text: JSON.stringify({domain: DOMAIN, device: device.id, events}),
  };
}

/** Hand the file to the browser, which keeps it where it keeps what is downloaded. */
export function keepFile({name, text}) {
  const address = URL.createObjectURL(new Blob([text], {type: 'application/json'}));
  const link = document.createElement('a');
  link.href = address;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), KEPT_FOR_MS);
}
