import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks';
import { Alarm } from '../live/alarm.js';
import { KEYS, keep, kept } from '../live/keep.js';
import { mayNotify } from '../live/notify.js';
import type { Groups } from './groups.js';
import { type Sounded, soundDue } from './news.js';

export interface Alarms {
  hasSound: boolean;
  /** Wanted, and the browser waits for a click or a key before it lets the page sound. */
  isWaiting: boolean;
  notifies: boolean;
  setSound(isOn: boolean): void;
  setNotify(isOn: boolean): Promise<void>;
}

/** Sound and notifications, both only where somebody asked for them. */
export function useAlarms(groups: Groups | null, nowMs: number): Alarms {
  const alarm = useRef<Alarm>(new Alarm());
  const sounded = useRef<Sounded>({ pullOverMs: 0, marks: new Set() });
  const [hasSound, setHasSound] = useState(kept(KEYS.sound) === 'on');
  const [notifies, setNotifies] = useState(kept(KEYS.notify) === 'on');

  useEffect(() => {
    const unlock = (): void => {
      if (hasSound) alarm.current.unlock();
    };
    document.addEventListener('pointerdown', unlock);
    document.addEventListener('keydown', unlock);
    return () => {
      document.removeEventListener('pointerdown', unlock);
      document.removeEventListener('keydown', unlock);
    };
  }, [hasSound]);

  // A page that is hidden paints nothing, and must sound all the same: not after the paint.
  useLayoutEffect(() => {
    if (!hasSound || groups === null || !alarm.current.isReady) return;
    const due = soundDue(groups, sounded.current, nowMs);
    if (due === null) return;
    sounded.current = due;
    alarm.current.sound();
  }, [groups, nowMs, hasSound]);

  return {
    hasSound,
    isWaiting: hasSound && !alarm.current.isReady,
    notifies,
    setSound: (isOn) => {
      if (isOn) alarm.current.unlock();
      keep(KEYS.sound, isOn ? 'on' : 'off');
      setHasSound(isOn);
    },
    setNotify: async (isOn) => {
      const granted = isOn && (await mayNotify());
      keep(KEYS.notify, granted ? 'on' : 'off');
      setNotifies(granted);
    },
  };
}
