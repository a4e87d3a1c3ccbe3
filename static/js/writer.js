/**
 * One tab writes. The lock is asked for without waiting and then held as long as the page lives; without
 * locks the unique index on (device, sequence) still keeps two tabs from writing the same place of the chain.
 */
export function onlyWriter(device, locks = navigator.locks) {
  if (!locks) return Promise.resolve(true);
  return new Promise(resolve => {
    locks
      .request(`chain:${device}`, {ifAvailable: true}, lock => {
        resolve(lock !== null);
        return lock ? new Promise(() => {}) : undefined;
      })
      .catch(() => resolve(true));
  });
}
