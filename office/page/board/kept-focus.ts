import type { RefObject } from 'preact';
import { useEffect, useLayoutEffect, useRef } from 'preact/hooks';

/**
 * An alert that moves to another group takes the focus with it: the same control if it is still there, else the name of its truck.
 * Controls have ids that begin with that of their row and "--".
 */
export function useKeptFocus(root: RefObject<HTMLElement | null>): void {
  const held = useRef<string | null>(null);

  useEffect(() => {
    const remember = (event: FocusEvent): void => {
      held.current = (event.target as HTMLElement).id || null;
    };
    // Who clicks beside everything wants the focus nowhere.
    const forget = (event: PointerEvent): void => {
      if (!(event.target as Element).closest('a,button,input,textarea,select,summary')) held.current = null;
    };
    document.addEventListener('focusin', remember);
    document.addEventListener('pointerdown', forget);
    return () => {
      document.removeEventListener('focusin', remember);
      document.removeEventListener('pointerdown', forget);
    };
  }, []);

  useLayoutEffect(() => {
    const id = held.current;
    if (id === null || document.activeElement !== document.body || root.current === null) return;
    const same = document.getElementById(id) ?? document.getElementById(nameIdOf(id));
    if (same === null || !root.current.contains(same)) return;
    same.focus({ preventScroll: true });
    if (same instanceof HTMLTextAreaElement) same.setSelectionRange(same.value.length, same.value.length);
  });
}

/** Of the row's own id. */
export const controlId = (row: string, control: string): string => `${row}--${control}`;
const nameIdOf = (id: string): string => controlId(id.split('--')[0]!, 'name');

/** Ids of alerts have dots; an id of a page may have them too. */
export const rowIdOf = (truck: { fleet: string; truck: string }, alert: string): string =>
  `case-${truck.fleet}-${alert}`;
