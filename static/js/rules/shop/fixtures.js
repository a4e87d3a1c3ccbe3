/**
 * The fixtures of a machine as its sheets tell of them. One machine may have several, each with a sheet
 * of its own: a setup is begun on the sheet of the one that a person chose, and on no other.
 */

/** All that are bolted to the sheet's machine, {id, name}, in the order in which they are offered. */
export const fixturesOf = ({machine, fixture}) => machine.fixtures ?? [{id: fixture.id, name: fixture.name}];

/** Whether a person has to say at which fixture they work. */
export const hasSeveral = sheet => fixturesOf(sheet).length > 1;

/** Where a sheet's fixture stands among those of its machine. */
export const placeOf = sheet => fixturesOf(sheet).findIndex(({id}) => id === sheet.fixture.id);
