/**
 * The old values of the slot, copied down before it is cleared, and what they tell.
 * The twin of webapp/domain/setup/touching/copying.py, where the rules stand.
 */
import {RuleError} from '../../plain/errors.js';
import {normaliseLabel} from '../../shop/slots.js';
import {AXES, comparedOnSheet, rowsWithValues} from '../../touch/compare.js';
import {standing} from '../trouble/lifts.js';
import {close, isDone, note, open, remark, stay} from '../state.js';
import {staysUncleared, typedValues} from '../steps.js';

const label = (state, typed) => normaliseLabel(typed, state.sheet.machine.slot_family);
const ownerOf = (state, row) => state.sheet.slots.find(one => one.label === row)?.owner_name ?? '';

/** The three old values, compared with what was last seen in the slot and in the other rows. */
export function copyValues(state, event) {
  const values = typedValues(state, event);
  const compared = comparedOnSheet(state.sheet, state.slot, values);
  for (const axis of AXES) {
    const claimed = event.data.compared[axis];
    if (claimed !== compared[axis])
      note(state, event, 'setup.compared_differs', {axis, claimed, found: compared[axis]});
  }
  state.copyWaits = null;
  const copied = {values_nm: values, compared, event: event.id};
  if (state.stopsAreTheLeads && stays(state, event, copied)) return;
  state.copied = copied;
  close(state, event.step, event);
}

/** Whether the values wait for a label or a question; else what is odd about them is noted. */
function stays(state, event, copied) {
  const others = rowsWithValues(state.sheet, state.slot, copied.values_nm);
  const kinds = Object.values(copied.compared);
  if (others.length === 1 && !kinds.every(kind => kind === 'same')) {
    state.copyWaits = {...copied, other: others[0]};
    stay(state, 'setup.copy_whose_label');
    return true;
  }
  if (others.length > 0 && !askedSinceSlot(state)) {
    stay(state, 'setup.copy_needs_question');
    return true;
  }
  const typed = AXES.map(axis => copied.values_nm[axis]);
  if (others.length > 0)
    remark(state, 'copy_fits_several', event, {values_nm: typed, labels: [state.slot ?? '', ...others]});
  else if (kinds.includes('changed'))
    remark(state, 'copy_changed', event, {values_nm: typed, labels: [state.slot ?? '']});
  return false;
}

const askedSinceSlot = state =>
  state.questions.some(one => one.axis === null && state.questionOrder.get(one.question) > state.slotReadAt);

/** The label that stands beside the copied values. */
export function readLabel(state, event) {
  if (state.copyWaits === null) throw new RuleError('setup.no_label_asked');
  const {other, ...copied} = state.copyWaits;
  const {typed} = event.data;
  const values = AXES.map(axis => copied.values_nm[axis]);
  state.copyWaits = null;
  if (label(state, typed) === state.slot) {
    remark(state, 'copied_row', event, {values_nm: values, labels: [state.slot ?? '', other]});
    state.copied = copied;
    close(state, event.step, event);
    return;
  }
  remark(state, 'anothers_row_read', event, {values_nm: values, labels: [other, typed]});
  for (const {id, kind} of state.plan.values()) if (kind === 'slot') open(state, id);
  stay(state, 'setup.copy_anothers', {label: other, owner: ownerOf(state, other), typed});
}

/** The row of a setup that was broken off stands at zero again, read back beside its label. */
export function zeroRow(state, event) {
  const values = typedValues(state, event);
  const {label: typedLabel} = event.data;
  if (state.slot === null || label(state, typedLabel) !== state.slot) {
    stay(state, 'setup.zero_other_label', {typed: typedLabel});
    return;
  }
  if (staysUncleared(state, event, values)) return;
  state.zeroed = {slot: state.slot, event: event.id, at_utc: event.at_utc};
  close(state, event.step, event);
}

/** Another's row holds again what was copied from it; the own slot is begun anew. */
export function putBack(state, event) {
  if (state.copied === null) throw new RuleError('setup.nothing_to_put_back');
  const values = typedValues(state, event);
  const {label: typedLabel, typed, lead} = event.data;
  const row = label(state, typedLabel);
  if (row === null || row === state.slot) return stay(state, 'setup.put_back_label', {typed: typedLabel});
  const other = AXES.find(axis => values[axis] !== state.copied.values_nm[axis]);
  if (other !== undefined) return stay(state, 'setup.put_back_value', {axis: other, typed: typed[other]});
  state.putBacks.push({label: row, values_nm: values, lead, ...standing(state, event)});
  remark(state, 'row_put_back', event, {values_nm: AXES.map(axis => values[axis]), labels: [row], by: lead});
  return goOnAfterPutBack(state, event);
}

/** Begin anew in the own slot; where the setup is broken off, no row of its own is left to be set to zero. */
function goOnAfterPutBack(state, event) {
  const broken = state.brokenOff !== null;
  for (const {id, kind, axis} of state.plan.values()) {
    if (broken && kind === 'zero' && state.steps[id]?.state === 'open') close(state, id, event);
    if (!broken && (['slot', 'copy', 'clear'].includes(kind) || axis !== null) && isDone(state, id))
      open(state, id);
  }
}
