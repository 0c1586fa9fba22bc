import type { Urgency } from '../../../config/resolved.js';
import type { BoardAlert, Series, TruckPage } from '../../core/board-model.js';
import { useDesk } from '../board/desk.js';
import { UrgencyTag } from '../board/glyph.js';
import { ago } from '../words/time.js';
import { inUnits } from '../words/units.js';
import {
  AIR_LOW_KPA,
  type Axle,
  axlesOf,
  type Brake,
  brakeWords,
  type Circuit,
  circuitsOf,
  TIRE_LIMITS,
  type Tire,
} from './axles.js';
import { PressurePost } from './pressure-post.js';
import { COLUMN, GAP_MS, pointsOf } from './series.js';

/** Told longer ago than this: hollow marks, and the word. Three readings missed. */
const OLD_MS = 16 * 60_000;

interface WheelsProps {
  page: TruckPage;
  series: Series | null;
  alerts: readonly BoardAlert[];
}

/** Every tire, brake and circuit, axle by axle from the front; each pressure on a scale of its own. */
export function Wheels({ page, series, alerts }: WheelsProps) {
  const axles = axlesOf(page);
  const circuits = circuitsOf(page);
  if (axles.length + circuits.length === 0) return <p class="nothing">No reading of this truck has arrived yet.</p>;
  return (
    <>
      <p class="legend">
        Each scale: the last 6 h at its left, the mark of now on it, the target as a line across, limits as ticks (the
        longer, the more urgent). Pressures are cold-equivalent; limits are those Axlepost is shipped with, and this
        truck's file may have others.
      </p>
      {axles.map((axle) => (
        <AxleStrip key={axle.name} axle={axle} series={series} alerts={alerts} />
      ))}
      {circuits.length > 0 && (
        <section class="axle" aria-label="Air">
          <h3>air</h3>
          <ul class="posts">
            {circuits.map((circuit) => (
              <CircuitPost key={circuit.subject} circuit={circuit} series={series} alerts={alerts} />
            ))}
          </ul>
        </section>
      )}
    </>
  );
}

const AxleStrip = ({ axle, series, alerts }: { axle: Axle; series: Series | null; alerts: readonly BoardAlert[] }) => (
  <section class="axle" aria-label={axle.name}>
    <div>
      <h3>{axle.name}</h3>
      {axle.brakes.length > 0 && (
        <ul class="brakes">
          {axle.brakes.map((brake) => (
            <BrakeLine key={brake.subject} brake={brake} alerts={alerts} />
          ))}
        </ul>
      )}
    </div>
    <ul class={`posts of-${axle.tires.length}`}>
      {axle.tires.map((tire) => (
        <TirePost key={tire.subject} tire={tire} series={series} alerts={alerts} />
      ))}
    </ul>
  </section>
);

const WEIGHT: Record<Urgency, number> = { plan: 1, 'next-stop': 2, 'pull-over': 3 };

/** The worst that is open at one of these subjects. */
const worstAt = (alerts: readonly BoardAlert[], subjects: readonly string[]): BoardAlert | null =>
  alerts.filter(({ subject }) => subjects.includes(subject)).sort((a, b) => WEIGHT[b.urgency] - WEIGHT[a.urgency])[0] ??
  null;

const Finding = ({ alert }: { alert: BoardAlert | null }) =>
  alert === null ? null : (
    <p class="finding">
      <UrgencyTag urgency={alert.urgency} /> {alert.what}
    </p>
  );

function Age({ atMs }: { atMs: number | null }) {
  const { nowMs } = useDesk();
  if (atMs === null) return <span class="age">never told</span>;
  const isOld = nowMs - atMs > OLD_MS;
  return (
    <span class={isOld ? 'age old' : 'age'}>
      {isOld && 'old: '}
      {ago(atMs, nowMs)}
    </span>
  );
}

function TirePost({ tire, series, alerts }: { tire: Tire; series: Series | null; alerts: readonly BoardAlert[] }) {
  const { units, nowMs } = useDesk();
  const { targetKpa, coldKpa, celsius, measuredKpa } = tire;
  const pair = tire.subject.replace(/\/(?:inner|outer)$/, '/pair');
  const alert = worstAt(alerts, [tire.subject, pair]);
  const history = pointsOf(series?.r[tire.subject], COLUMN.cold);
  const most = targetKpa ?? Math.max(coldKpa ?? 0, ...history.map(([, kpa]) => kpa), 100);
  return (
    <li>
      <h4>{tire.name}</h4>
      <PressurePost
        nowKpa={coldKpa}
        lowKpa={most * 0.4}
        highKpa={most * 1.32}
        history={history}
        fromMs={series?.fromMs ?? nowMs - 1}
        toMs={series?.toMs ?? nowMs}
        gapMs={GAP_MS}
        targetKpa={targetKpa}
        limits={
          targetKpa === null ? [] : TIRE_LIMITS.map(({ share, urgency }) => ({ kpa: share * targetKpa, urgency }))
        }
        urgency={alert?.urgency ?? null}
        isOld={tire.atMs === null || nowMs - tire.atMs > OLD_MS}
      />
      <p class="value">
        <b>{coldKpa === null ? 'not known' : inUnits(coldKpa, 'kPa', units)}</b>
        {targetKpa !== null &&
          coldKpa !== null &&
          ` ${Math.round((coldKpa / targetKpa) * 100)} % of ${inUnits(targetKpa, 'kPa', units)}`}
        {targetKpa === null && ' no target known'}
      </p>
      <p class="more">
        {measuredKpa !== null && `reads ${inUnits(measuredKpa, 'kPa', units)}`}
        {celsius !== null && ` at ${inUnits(celsius, '°C', units)}`} · <Age atMs={tire.atMs} />
      </p>
      <Finding alert={alert} />
    </li>
  );
}

function BrakeLine({ brake, alerts }: { brake: Brake; alerts: readonly BoardAlert[] }) {
  const { units } = useDesk();
  return (
    <li>
      {brake.name} brake: <b>{brakeWords(brake.state)}</b>
      {brake.strokeMm !== null && `, stroke ${inUnits(brake.strokeMm, 'mm', units)}`}
      {brake.restMm !== null && `, at rest ${inUnits(brake.restMm, 'mm', units)}`}
      {brake.strokeMm !== null && ' at the start of the trip'}, <Age atMs={brake.atMs} />
      <Finding alert={worstAt(alerts, [brake.subject])} />
    </li>
  );
}

/** Where the scale of air pressures ends: above where safety valves open. */
const AIR_HIGH_KPA = 1100;

function CircuitPost({
  circuit,
  series,
  alerts,
}: {
  circuit: Circuit;
  series: Series | null;
  alerts: readonly BoardAlert[];
}) {
  const { units, nowMs } = useDesk();
  const isService = circuit.subject === 'air/primary' || circuit.subject === 'air/secondary';
  const alert = worstAt(alerts, isService ? ['air/service', circuit.subject] : [circuit.subject]);
  return (
    <li>
      <h4>{circuit.name}</h4>
      <PressurePost
        nowKpa={circuit.kpa}
        lowKpa={0}
        highKpa={AIR_HIGH_KPA}
        history={pointsOf(series?.r[circuit.subject], COLUMN.measured)}
        fromMs={series?.fromMs ?? nowMs - 1}
        toMs={series?.toMs ?? nowMs}
        gapMs={GAP_MS}
        targetKpa={null}
        limits={isService ? [{ kpa: AIR_LOW_KPA, urgency: 'pull-over' }] : []}
        urgency={alert?.urgency ?? null}
        isOld={circuit.atMs === null || nowMs - circuit.atMs > OLD_MS}
      />
      <p class="value">
        <b>{circuit.kpa === null ? 'not known' : inUnits(circuit.kpa, 'kPa', units)}</b>
        {isService && ` low at ${inUnits(AIR_LOW_KPA, 'kPa', units)}`}
      </p>
      <p class="more">
        <Age atMs={circuit.atMs} />
      </p>
      <Finding alert={alert} />
    </li>
  );
}
