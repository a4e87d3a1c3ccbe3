/**
 * Slots as a sheet carries them: the typed label against the machine's family and the register.
 * The twin of `match_slot` in webapp/domain/shop/slots.py, where the rules stand.
 */

// What Python's str.split() calls blank: written out, so that both strip the same.
const BLANK = /[\t-\r\x1c-\x20\x85\xa0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000]/g;

/** The form in which labels are compared: no case, no blanks, no leading zeros, a comma as a point. */
const keyOf = label =>
  label
    .replace(BLANK, '')
    .toUpperCase()
    .replaceAll(',', '.')
    .replace(/\p{Nd}+/gu, digits => digits.replace(/^0+/, '') || '0');

const numberOf = label => keyOf(label).replace(/^[A-Z]+/, '');

/**
 * The family's own spelling of the typed label; null where there is none, or two.
 * @param {string} typed
 * @param {string[]} family
 * @returns {string|null}
 */
export function normaliseLabel(typed, family) {
  const key = keyOf(typed);
  if (key === '') return null;
  const same = family.find(label => keyOf(label) === key);
  if (same !== undefined) return same;
  const numbers = family.filter(label => numberOf(label) === key);
  return numbers.length === 1 ? numbers[0] : null;
}

/**
 * Whose the typed slot is.
 * @param {Object} sheet
 * @param {string} typed
 * @param {string} person id
 * @param {string} atUtc
 * @returns {{outcome: string, label: string|null, owner_name: string}}
 */
export function matchSlot(sheet, typed, person, atUtc) {
  const family = sheet.machine.slot_family;
  const label = normaliseLabel(typed, family);
  if (label === null) return {outcome: 'unknown', label: null, owner_name: ''};
  const row = sheet.slots.find(slot => normaliseLabel(slot.label, family) === label);
  return {outcome: outcomeOf(row, person, atUtc), label, owner_name: row?.owner_name ?? ''};
}

function outcomeOf(row, person, atUtc) {
  if (!row || row.kind === 'free') return 'free';
  if (row.kind === 'shop') return 'shop';
  if (row.owner_id !== person) return 'somebody_elses';
  const ended = row.held_back || (row.until_utc !== null && atUtc >= row.until_utc);
  return ended ? 'expired' : 'own';
}
