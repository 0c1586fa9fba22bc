import type { Look } from '../look.js';
import { useReader } from '../reader.js';
import { clockOf, type Zone } from '../words/time.js';

interface ControlsProps {
  zone: Zone;
  setZone: (zone: Zone) => void;
  look: Look;
  setLook: (look: Look) => void;
}

/** Choices of the reader. They last as long as the page is open. */
export function Controls({ zone, setZone, look, setLook }: ControlsProps) {
  const { data } = useReader();
  const local = clockOf(data.fromMs, data.lengthS, 'local').name;
  return (
    <div class="controls no-print">
      <fieldset class="choice">
        <legend class="quiet">Clock</legend>
        <button type="button" aria-pressed={zone === 'utc'} onClick={() => setZone('utc')}>
          UTC
        </button>
        <button type="button" aria-pressed={zone === 'local'} onClick={() => setZone('local')}>
          This computer ({local})
        </button>
      </fieldset>
      <span class="choice">
        <button type="button" onClick={() => setLook(look === 'dark' ? 'light' : 'dark')}>
          {look === 'dark' ? 'Light' : 'Dark'}
        </button>
        <button type="button" onClick={() => print()}>
          Print
        </button>
      </span>
    </div>
  );
}
