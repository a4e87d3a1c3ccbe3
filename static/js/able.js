/**
 * Whether this browser can run the tablet's page at all. The first thing missing is named. Oldest versions
 * that can: Chromium 110, Firefox 115, Safari and iPadOS 16 (from memory of the public compatibility
 * tables; what is asked for here decides).
 */
const NEEDED = {
  structuredClone: () => typeof structuredClone === 'function',
  'crypto.randomUUID': () => typeof crypto.randomUUID === 'function',
  'AbortSignal.timeout': () => typeof globalThis.AbortSignal?.timeout === 'function',
  'Array.findLast': () => typeof [].findLast === 'function',
  'Array.toReversed': () => typeof [].toReversed === 'function',
  'Object.hasOwn': () => typeof Object.hasOwn === 'function',
  'CSS container': () => CSS.supports('container-type: inline-size'),
};

/** {code, fields} of the first ability that is missing, or null. */
export function missingAbility() {
  if (!isSecureContext) return {code: 'tablet.not_possible.insecure', fields: {}};
  if (!globalThis.indexedDB) return {code: 'tablet.not_possible.no_storage', fields: {}};
  if (!globalThis.crypto?.subtle) return {code: 'tablet.not_possible.no_signing', fields: {}};
  const missing = Object.keys(NEEDED).filter(name => !NEEDED[name]());
  if (missing.length === 0) return null;
  return {code: 'tablet.not_possible.too_old', fields: {names: missing.join(', ')}};
}
