/**
 * Worries raised on this tablet: remembered here until a lead's decision says that they are closed, so that
 * they hold for the next person at this tablet before the server has heard of them and made another sheet.
 */
const NOTE = 'worries';
const MOST = 50;

/**
 * Remember a worry that names something;
 * `row` is its kept event, `sheet` the sheet of its setup, `byName` who raised it.
 */
export async function rememberWorry(shelf, row, sheet, byName, blocks) {
  const {
    data: {worry, text, about},
    at_utc: atUtc,
    setup,
  } = row.payload;
  const {machine, fixture, probe} = sheet;
  const things = {machine: machine.id, vise: fixture.id, probe: probe.id};
  const name = {machine: machine.name, vise: fixture.name, probe: probe.name}[about];
  const one = {
    event: row.id,
    setup,
    worry,
    about,
    blocks,
    text,
    at_utc: atUtc,
    by_name: byName,
    thing_name: name,
    machine_name: machine.name,
    things,
  };
  await shelf.note(NOTE, [...((await shelf.noted(NOTE)) ?? []), one].slice(-MOST));
}

/** Those of them that no decision has closed, as far as this tablet knows. */
export async function ownOpenWorries(shelf) {
  const open = [];
  const all = (await shelf.noted(NOTE)) ?? [];
  for (const one of all) {
    const closed = (await shelf.decisions(one.setup)).some(
      ({type, data}) => type === 'worry.closed' && data.worry === one.event,
    );
    if (!closed) open.push(one);
  }
  if (open.length < all.length) await shelf.note(NOTE, open);
  return open;
}
