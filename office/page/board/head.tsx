import { useEffect, useState } from 'preact/hooks';
import type { Me } from '../live/http.js';
import { canNotify } from '../live/notify.js';
import { clock, moment, span } from '../words/time.js';
import { UNITS, type Units } from '../words/units.js';
import { FindTruck } from './find-truck.js';
import type { Alarms } from './use-alarm.js';
import type { Live } from './use-live.js';

interface HeadProps {
  me: Me;
  live: Live;
  alarms: Alarms;
  units: Units;
  setUnits: (units: Units) => void;
  onSignOut: () => void;
}

/** Where to, who is here, and whether what is shown is true now. A phone has its settings folded: the decisions come first. */
export function Head(props: HeadProps) {
  const { me, live, alarms } = props;
  const isWide = useWide();
  const rest = (
    <>
      <FindTruck trucks={live.board?.trucks ?? new Map()} />
      <Settings {...props} />
    </>
  );
  return (
    <header class="head">
      <nav aria-label="Views">
        <span class="home">Axlepost</span>
        <a href="#/">Board</a>
        <a href="#/hand-over">Hand-over</a>
      </nav>
      <LiveState live={live} />
      {isWide ? (
        rest
      ) : (
        <details class="folded">
          <summary>
            {me.name}, sound {alarms.hasSound ? 'on' : 'off'}
          </summary>
          {rest}
        </details>
      )}
    </header>
  );
}

const WIDE = matchMedia('(min-width: 44rem)');

function useWide(): boolean {
  const [isWide, setWide] = useState(WIDE.matches);
  useEffect(() => {
    const changed = (): void => setWide(WIDE.matches);
    WIDE.addEventListener('change', changed);
    return () => WIDE.removeEventListener('change', changed);
  }, []);
  return isWide;
}

const Settings = ({ me, alarms, units, setUnits, onSignOut }: HeadProps) => (
  <div class="settings">
    <Switch
      label="Sound"
      isOn={alarms.hasSound}
      set={alarms.setSound}
      hint={alarms.isWaiting ? 'press any key to let it sound' : ''}
    />
    {canNotify() && <Switch label="Notifications" isOn={alarms.notifies} set={(isOn) => void alarms.setNotify(isOn)} />}
    <label class="units">
      <span class="hidden">Units</span>
      <select value={units} onChange={(event) => setUnits(event.currentTarget.value as Units)}>
        {Object.entries(UNITS).map(([key, { name }]) => (
          <option key={key} value={key}>
            {name}
          </option>
        ))}
      </select>
    </label>
    <span class="who">{me.name}</span>
    {me.signIn !== 'proxy' && (
      <button type="button" onClick={onSignOut}>
        Sign out
      </button>
    )}
  </div>
);

const Switch = ({
  label,
  isOn,
  set,
  hint = '',
}: {
  label: string;
  isOn: boolean;
  set: (isOn: boolean) => void;
  hint?: string;
}) => (
  <label class="switch">
    <input type="checkbox" checked={isOn} onChange={(event) => set(event.currentTarget.checked)} />
    {label}
    {hint !== '' && <span class="hint"> ({hint})</span>}
  </label>
);

function LiveState({ live: { board, nowMs, deadSinceMs } }: { live: Live }) {
  if (board === null && deadSinceMs === null) return <p class="live-state">Connecting …</p>;
  if (deadSinceMs === null) return <p class="live-state on">Live · {clock(nowMs)}</p>;
  return (
    <p class="live-state off" role="alert">
      <b>Not live since {moment(deadSinceMs, nowMs)}</b>
      <span aria-hidden="true"> ({span(nowMs - deadSinceMs)}). What is shown may be old. Connecting again …</span>
    </p>
  );
}
