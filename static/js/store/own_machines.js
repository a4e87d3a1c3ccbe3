/**
 * The machines that this tablet is used at, as it tells the server: their sheets come at every change,
 * those of the others now and then. A tablet that was used nowhere yet says nothing and is sent everything.
 */
const NOTE = 'own_machines';
const OWN_MS = 30 * 24 * 3_600_000;

/**
 * Note that somebody chose this machine at this time (ms);
 * resolves to true when its newest sheet may not be here.
 */
export async function chosen(shelf, machine, now) {
  const all = (await shelf.noted(NOTE)) ?? {};
  const isNew = !isOwn(all[machine], now);
  await shelf.note(NOTE, {...all, [machine]: now});
  return isNew;
}

/** Ids of these machines, or null before the first. A clock that was put back takes none away. */
export async function ownMachines(shelf, now) {
  const own = Object.entries((await shelf.noted(NOTE)) ?? {}).filter(([, at]) => isOwn(at, now));
  return own.length === 0 ? null : own.map(([machine]) => machine);
}

const isOwn = (at, now) => at !== undefined && now - at < OWN_MS;
