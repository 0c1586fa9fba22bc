import type { ComponentChildren } from 'preact';
import { useState } from 'preact/hooks';
import { RULE_WORDS } from '../../../daemon/alerts/words.js';
import type { Glance } from '../../data.js';
import { anchorOf } from '../alert/order.js';
import { Glyph, RANK, URGENCY_WORDS } from '../parts/urgency.js';
import { useReader } from '../reader.js';
import { readingOf } from '../words/units.js';
import { BOX_X, BOX_Y, barOf, pathsOf, stepsOf } from './geometry.js';

interface RowProps {
  seen: [number, number];
}

interface PieceProps extends RowProps {
  fromS: number;
  toS: number;
  kind: string;
  children?: ComponentChildren;
}

function Piece({ fromS, toS, seen, kind, children }: PieceProps) {
  const bar = barOf(fromS, toS, seen);
  if (bar === null) return null;
  return (
    <i class={kind} style={{ left: `${bar.left}%`, width: `${bar.width}%` }}>
      {children}
    </i>
  );
}

export function TripsRow({ seen }: RowProps) {
  const { trips } = useReader().data.glance;
  return (
    <div class="row">
      <span class="name">Trips</span>
      <div class="track">
        {trips.length === 0 && <span class="quiet">none</span>}
        {trips.map((trip) => (
          <Piece key={trip.fromS} {...trip} seen={seen} kind="trip">
            <span>{trip.label}</span>
          </Piece>
        ))}
      </div>
    </div>
  );
}

/** Parked, asleep, blind; and what was not heard. */
export function LifeRow({ seen }: RowProps) {
  const { glance, gaps } = useReader().data;
  if (glance.life.length === 0 && gaps.length === 0) return null;
  return (
    <div class="row">
      <span class="name">Bus</span>
      <div class="track">
        {gaps.map(({ fromS, toS }) => (
          <Piece key={`gap ${fromS}`} fromS={fromS} toS={toS} seen={seen} kind="gap" />
        ))}
        {glance.life.map(({ fromS, toS, state }) => (
          <Piece key={fromS} fromS={fromS} toS={toS} seen={seen} kind={`life ${state}`}>
            <span>{state}</span>
          </Piece>
        ))}
      </div>
    </div>
  );
}

const LEAST_TOP_KMH = 40;

export function SpeedRow({ seen }: RowProps) {
  const { data, show } = useReader();
  const { speed } = data.glance;
  if (speed === null) return null;
  const top = Math.max(LEAST_TOP_KMH, ...(speed.high ?? speed.v));
  const { line, band } = pathsOf(speed, seen, top);
  const { unit, of } = readingOf('km/h', show);
  return (
    <div class="row speed">
      <span class="name">
        Speed{' '}
        <span class="quiet">
          0 to {Math.round(of(top))} {unit}
        </span>
      </span>
      <div class="track">
        <svg
          viewBox={`0 0 ${BOX_X} ${BOX_Y}`}
          preserveAspectRatio="none"
          role="img"
          aria-label={`Speed, up to ${Math.round(of(top))} ${unit}`}
        >
          <path class="band" d={band} />
          <path class="line" d={line} />
        </svg>
      </div>
    </div>
  );
}

type AlertBar = Glance['alerts'][number];

/** Above so many, those that are not told in full wait until somebody asks. */
const MOST_BARS = 120;

/** One bar for each alert: the higher and the denser, the more urgent. */
export function Bars({ seen }: RowProps) {
  const { data } = useReader();
  const [isWhole, setWhole] = useState(false);
  const told = new Set(data.alerts.map(({ id }) => id));
  const { alerts } = data.glance;
  const shown = isWhole || alerts.length <= MOST_BARS ? alerts : alerts.filter(({ id }) => told.has(id));
  const more = alerts.length - shown.length;
  return (
    <div class={shown.length > 30 ? 'bars many' : 'bars'}>
      {shown.map((alert) =>
        told.has(alert.id) ? (
          <a key={alert.id} class="row alert-row" href={`#${anchorOf(alert.id)}`} draggable={false}>
            <BarContent alert={alert} seen={seen} />
          </a>
        ) : (
          <div key={alert.id} class="row alert-row">
            <BarContent alert={alert} seen={seen} />
          </div>
        ),
      )}
      {more > 0 && (
        <p class="more">
          {more} more are not told in full.{' '}
          <button type="button" class="small no-print" onClick={() => setWhole(true)}>
            Show their bars
          </button>
        </p>
      )}
    </div>
  );
}

function BarContent({ alert, seen }: RowProps & { alert: AlertBar }) {
  const { data, clock } = useReader();
  const worst = alert.steps.reduce(
    (a, { urgency }) => (RANK[urgency] > RANK[a] ? urgency : a),
    alert.steps[0]?.urgency ?? 'plan',
  );
  const times = `${clock.moment(alert.fromS)} to ${alert.toS === null ? 'the end, still open' : clock.moment(alert.toS)}`;
  return (
    <>
      <span class="name">
        <Glyph urgency={worst} />
        <span class="hidden">{URGENCY_WORDS[worst]}: </span>
        <span class="words">
          {alert.place}: {RULE_WORDS[alert.rule]}
        </span>
        <span class="hidden">, {times}</span>
      </span>
      <span class="track bar">
        {stepsOf(alert, data.lengthS).map(({ fromS, toS, urgency }) => (
          <Piece key={fromS} fromS={fromS} toS={toS} seen={seen} kind={urgency} />
        ))}
        {alert.toS === null && <Piece fromS={data.lengthS} toS={data.lengthS} seen={seen} kind="still-open" />}
      </span>
    </>
  );
}
