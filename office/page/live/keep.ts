/** Small things that this browser remembers. Where it may not, the page works and forgets. */

export const KEYS = {
  units: 'axlepost.units',
  sound: 'axlepost.sound',
  notify: 'axlepost.notify',
  marks: 'axlepost.read',
} as const;

export function kept(key: string): string | null {
  try {
    return localStorage.getItem(key);
  } catch {
    return null;
  }
}

export function keep(key: string, value: string): void {
  try {
    localStorage.setItem(key, value);
  } catch {
    // Full or forbidden.
  }
}
