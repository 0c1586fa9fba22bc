import { useEffect, useLayoutEffect, useState } from 'preact/hooks';
import { printAll, redrawAll } from './plot/sheet.js';

export type Look = 'light' | 'dark';

const setRoot = (look: Look): void => {
  document.documentElement.dataset.look = look;
};

/** Light or dark: as the computer has it, until the reader chooses. Paper is light. */
export function useLook(): { look: Look; setLook: (look: Look) => void } {
  const [wanted, setWanted] = useState<Look | null>(null);
  const [isDark, setDark] = useState(() => matchMedia('(prefers-color-scheme: dark)').matches);
  const look: Look = wanted ?? (isDark ? 'dark' : 'light');

  useEffect(() => {
    const scheme = matchMedia('(prefers-color-scheme: dark)');
    const changed = (): void => setDark(scheme.matches);
    scheme.addEventListener('change', changed);
    return () => scheme.removeEventListener('change', changed);
  }, []);

  useLayoutEffect(() => {
    setRoot(look);
    redrawAll();
  }, [look]);

  useEffect(() => watchPrinting(look), [look]);
  return { look, setLook: setWanted };
}

/** Browsers tell of printing in one way or the other, and some in both. @returns ends it */
function watchPrinting(look: Look): () => void {
  const paper = matchMedia('print');
  const before = (): void => {
    setRoot('light');
    printAll(true);
  };
  const after = (): void => {
    setRoot(look);
    printAll(false);
  };
  const changed = (): void => (paper.matches ? before() : after());
  addEventListener('beforeprint', before);
  addEventListener('afterprint', after);
  paper.addEventListener('change', changed);
  return () => {
    removeEventListener('beforeprint', before);
    removeEventListener('afterprint', after);
    paper.removeEventListener('change', changed);
  };
}
