import { useEffect, useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import { type Me, signOut } from '../live/http.js';
import { KEYS, keep, kept } from '../live/keep.js';
import { useRoute } from '../route.js';
import type { Route } from '../route-of.js';
import { HandOver } from '../shift/hand-over.js';
import { TruckView } from '../truck/truck-view.js';
import { UNITS, type Units, unitsFor } from '../words/units.js';
import { BoardView } from './board-view.js';
import { DeskContext, type Draft } from './desk.js';
import { Foot } from './foot.js';
import { type Groups, grouped } from './groups.js';
import { Head } from './head.js';
import { titleOf } from './news.js';
import { useAlarms } from './use-alarm.js';
import { type Live, useLive } from './use-live.js';
import { useNews } from './use-news.js';
import { useWishes } from './use-wishes.js';

const keptUnits = (): Units => {
  const name = kept(KEYS.units);
  return name !== null && name in UNITS ? (name as Units) : unitsFor(navigator.language);
};

/** The signed-in page: head, one of the views, foot; and what goes on whichever of them is open. */
export function BoardPage({ me, onSignedOut }: { me: Me; onSignedOut: () => void }) {
  const live = useLive(onSignedOut);
  const groups = useMemo(() => (live.board === null ? null : grouped(live.board.trucks.values())), [live.board]);
  const alarms = useAlarms(groups, live.nowMs);
  const { urgent, calm, ...news } = useNews(groups, alarms.notifies);
  const wishes = useWishes(me, onSignedOut);
  const drafts = useDrafts();
  const [units, setUnits] = useState(keptUnits);
  const route = useRoute();
  const title = titleOf(groups, live.deadSinceMs === null);

  useLayoutEffect(() => {
    document.title = title;
  }, [title]);

  const choose = (chosen: Units): void => {
    keep(KEYS.units, chosen);
    setUnits(chosen);
  };
  const leave = (): void => void signOut(me).then(onSignedOut);
  return (
    <DeskContext.Provider
      value={{ me, units, nowMs: live.nowMs, untakenMs: live.board?.untakenMs ?? {}, ...wishes, ...drafts, ...news }}
    >
      <Head me={me} live={live} alarms={alarms} units={units} setUnits={choose} onSignOut={leave} />
      <View route={route} live={live} groups={groups} />
      <Foot />
      <div class="hidden" role="alert">
        {urgent}
      </div>
      <div class="hidden" role="status">
        {calm}
      </div>
    </DeskContext.Provider>
  );
}

function useDrafts() {
  const [drafts, setDrafts] = useState<ReadonlyMap<string, Draft>>(new Map());
  const draft = (alert: string, one: Draft | null): void =>
    setDrafts((before) => {
      const next = new Map(before);
      if (one === null) next.delete(alert);
      else next.set(alert, one);
      return next;
    });
  return { drafts, draft };
}

function View({ route, live, groups }: { route: Route; live: Live; groups: Groups | null }) {
  const place = JSON.stringify(route);
  const first = useRef(place);
  // Who goes to another view reads it from its heading on; who comes to the page is left where they are.
  useEffect(() => {
    if (first.current === place) return;
    first.current = '';
    const heading = document.querySelector<HTMLElement>('main h1');
    heading?.setAttribute('tabindex', '-1');
    heading?.focus();
  }, [place]);
  if (route.view === 'truck') {
    const known = live.board?.trucks.get(`${route.fleet}/${route.truck}`);
    return <TruckView key={place} fleet={route.fleet} truck={route.truck} live={known} />;
  }
  if (live.board === null || groups === null) return <main class="waiting">Waiting for the board …</main>;
  if (route.view === 'hand-over') return <HandOver groups={groups} />;
  return <BoardView board={live.board} groups={groups} />;
}
