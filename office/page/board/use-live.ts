import { useEffect, useReducer, useRef, useState } from 'preact/hooks';
import { Connection } from '../live/connection.js';
import { apply, type BoardState, type LiveMessage, LONG } from './state.js';

export interface Live {
  board: BoardState | null;
  /** By the office's clock. */
  nowMs: number;
  /** Null while it is live; else since when it is not, by the office's clock. */
  deadSinceMs: number | null;
}

/** A long board is drawn anew only so often, in s. */
const LONG_EVERY = 5;

type Step = { ownMs: number; message: LiveMessage };

/** The board, kept live; the clock each second. */
export function useLive(onSignedOut: () => void): Live {
  const [board, step] = useReducer(
    (state: BoardState | null, { ownMs, message }: Step) => apply(state, message, ownMs),
    null,
  );
  const isLong = useRef(false);
  const [ownMs, setOwnMs] = useState(Date.now());
  const [deadSinceMs, setDead] = useState<number | null>(null);

  useEffect(() => {
    const connection = new Connection({
      message: (message) => step({ ownMs: Date.now(), message }),
      live: (isLive) => setDead((since) => (isLive ? null : (since ?? Date.now()))),
      signedOut: onSignedOut,
    });
    const now = (): void => setOwnMs(Date.now());
    let ticks = 0;
    const tick = setInterval(() => {
      ticks += 1;
      if (!isLong.current || ticks % LONG_EVERY === 0) now();
    }, 1000);
    // Hidden pages tick once a minute only.
    document.addEventListener('visibilitychange', now);
    return () => {
      connection.close();
      clearInterval(tick);
      document.removeEventListener('visibilitychange', now);
    };
  }, []);

  isLong.current = (board?.trucks.size ?? 0) > LONG;
  const offsetMs = board?.offsetMs ?? 0;
  return { board, nowMs: ownMs + offsetMs, deadSinceMs: deadSinceMs === null ? null : deadSinceMs + offsetMs };
}
