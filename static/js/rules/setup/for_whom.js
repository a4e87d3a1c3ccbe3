/**
 * For whom the steps of a sheet stand, and whom they ask for. The twin of webapp/domain/evidence/for_whom.py,
 * where the rules stand.
 */

/** How somebody sets up by this sheet, "alone" or "beside"; null for somebody whom it does not name. */
export function levelOf(sheet, person) {
  const listed = sheet.people.find(({id}) => id === person);
  if (!listed) return null;
  return listed.beside ? 'beside' : 'alone';
}

/** The stages, each with the steps that stand for this person. */
export function stagesFor(sheet, person) {
  const level = levelOf(sheet, person);
  const stands = step => level === null || (step.level ?? level) === level;
  return sheet.procedure.stages.map(stage => ({...stage, steps: stage.steps.filter(stands)}));
}

/** Whom a step asks this person for, "lead" or "second"; null for nobody. */
export function askedFor(sheet, step, person) {
  const there = step.there ?? null;
  return there === 'lead' && (sheet.leads ?? []).some(({id}) => id === person) ? null : there;
}

/** Who may be named at a step: the shop's leads, or they and all who set up at this machine. */
export function mayStandBeside(sheet, step, person) {
  const leads = sheet.leads ?? [];
  const found = new Map(
    [...(step.there === 'second' ? sheet.people : []), ...leads].map(({id, name}) => [id, {id, name}]),
  );
  return [...found.values()].filter(({id}) => id !== person);
}
