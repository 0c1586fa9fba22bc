/** Where and how much history is kept when the truck file says nothing: the values of its documentation. */
export const DEFAULT_STORE = { path: 'axlepost.db', maxBytes: 256 * 2 ** 20, keepMs: 90 * 86_400_000 };
