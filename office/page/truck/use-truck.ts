import { useEffect, useState } from 'preact/hooks';
import type { Series, TruckPage } from '../../core/board-model.js';
import { series as askSeries, truckPage } from '../live/http.js';

/** How much lies behind each scale. */
export const HOURS_MS = 6 * 3_600_000;
/** Readings come every five minutes, around trouble each minute. */
const EVERY_MS = 60_000;

export interface TruckData {
  page: TruckPage | null;
  series: Series | null;
  problem: 'unknown' | 'away' | null;
}

/** A truck's page and its last hours: each minute anew, and when its row on the board changes. */
export function useTruck(fleet: string, truck: string, revision: number | undefined, nowMs: number): TruckData {
  const [data, setData] = useState<TruckData>({ page: null, series: null, problem: null });
  const minute = Math.floor(nowMs / EVERY_MS);

  useEffect(() => {
    let isOver = false;
    Promise.all([truckPage(fleet, truck), askSeries(fleet, truck, nowMs - HOURS_MS, nowMs)]).then(
      ([page, series]) => !isOver && setData({ page, series, problem: page === null ? 'unknown' : null }),
      () => !isOver && setData((before) => ({ ...before, problem: 'away' })),
    );
    return () => {
      isOver = true;
    };
  }, [fleet, truck, revision, minute]);
  return data;
}
