/**
 * Cautions that whom the lead allows it acknowledges once a shift. What was acknowledged on this tablet is
 * noted with its event; a setup that begins within the shift, at the same machine and by the same words,
 * carries it. Whether it may, the fold decides.
 */
import {mayCarry} from './rules/setup/steps.js';

const NOTED = 'acknowledged';
const HOUR_MS = 3_600_000;
const LONGEST_SHIFT_MS = 12 * HOUR_MS;

const nameOf = ({person, machine}, caution) => [person, machine.id, caution].join(' ');

/** A caution as this sheet words it: the shop's own words may have changed since it was acknowledged. */
const wordsOf = ({sheet}, caution) =>
  JSON.stringify(
    sheet.procedure.stages.flatMap(({steps}) => steps).find(step => step.caution?.id === caution)?.caution,
  );

/** Note a caution that was read; nothing waits for it, and without it the caution is read again. */
export async function noteCaution(setup, {id, payload}) {
  const {shelf, clock} = setup.tablet;
  const kept = Object.entries((await shelf.noted(NOTED)) ?? {}).filter(
    ([, {at_utc: at}]) => clock.sinceMs(at) < LONGEST_SHIFT_MS,
  );
  await shelf.note(NOTED, {
    ...Object.fromEntries(kept),
    [nameOf(setup, payload.data.caution)]: {
      at_utc: payload.at_utc,
      event: id,
      words: wordsOf(setup, payload.data.caution),
    },
  });
}

/** Carry into a setup that has just begun what was acknowledged this shift, as far as it comes first. */
export async function carryCautions(setup) {
  const noted = (await setup.tablet.shelf.noted(NOTED)) ?? {};
  const shiftMs = (setup.sheet.shop.shift_hours ?? 0) * HOUR_MS;
  for (
    let step = setup.current;
    step?.kind === 'caution' && mayCarry(setup.sheet, step, setup.person);
    step = setup.current
  ) {
    const {id: caution} = step.caution;
    const earlier = noted[nameOf(setup, caution)];
    if (earlier?.words !== wordsOf(setup, caution)) return;
    const sinceMs = Date.parse(setup.tablet.clock.nowUtc()) - Date.parse(earlier.at_utc);
    if (sinceMs < 0 || sinceMs >= shiftMs) return;
    await setup.commit('caution.carried', {caution, read_at_utc: earlier.at_utc, read_event: earlier.event});
  }
}
