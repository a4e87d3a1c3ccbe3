/**
 * What can go wrong with keeping, by name.
 * `code` has a sentence in the words; nothing was kept when one is thrown.
 */
export class StoreError extends Error {
  constructor(code, cause) {
    super(code, {cause});
    this.name = 'StoreError';
    this.code = code;
  }
}

/** Errors after which the handle is worth nothing: drop it and open again. */
const HANDLE_IS_GONE = new Set([
  'InvalidStateError',
  'UnknownError',
  'TransactionInactiveError',
  'NotFoundError',
]);

export const handleIsGone = error => HANDLE_IS_GONE.has(error?.name);

/** The named refusal for what the browser threw. */
export function named(error) {
  if (error instanceof StoreError) return error;
  if (error?.name === 'QuotaExceededError') return new StoreError('store.full', error);
  if (error?.name === 'ConstraintError') return new StoreError('store.taken', error);
  if (error?.name === 'DataCloneError') return new StoreError('store.cannot_keep_keys', error);
  if (error?.name === 'VersionError') return new StoreError('store.page_too_old', error);
  return new StoreError('store.lost', error);
}
