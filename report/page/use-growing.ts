import { useEffect, useState } from 'preact/hooks';

const AT_ONCE = 2;

/** A long page grows step by step, so that its top can be read and used at once; before printing it is there as a whole. */
export function useGrowing(total: number): number {
  const [shown, setShown] = useState(0);
  useEffect(() => {
    if (shown >= total) {
      // An address or a click may have named a place that was not there yet.
      if (location.hash !== '') location.replace(location.hash);
      return;
    }
    const all = (): void => setShown(total);
    const next = setTimeout(() => setShown(Math.min(total, shown + AT_ONCE)));
    addEventListener('beforeprint', all);
    return () => {
      clearTimeout(next);
      removeEventListener('beforeprint', all);
    };
  }, [shown, total]);
  return shown;
}
