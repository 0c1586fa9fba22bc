import type { WallMs } from '../../daemon/time.js';
import { nextRev, roomFor } from './answer.js';
import type { Decision, OfficeAlert, TruckState } from './model.js';

/**
 * An alert has taken the place of one of another database: who had taken that one has this one too. A truck that has lost its
 * database does not know it any more, so it is asked again in their name.
 */
export function inherit(state: TruckState, alert: OfficeAlert, before: OfficeAlert, ms: WallMs): TruckState {
  const note = alert.note ?? before.note;
  const alerts = state.alerts.map((each) => (each === alert ? { ...alert, note } : each));
  const asked = state.decisions.filter((decision) => decision.alert !== before.id);
  const who = before.taken?.who ?? state.decisions.find((d) => d.alert === before.id && d.do === 'take')?.who;
  const next = { ...state, alerts, decisions: asked };
  if (who === undefined || alert.taken !== null) return next;
  const rev = nextRev(state, ms);
  const take: Decision = { rev, alert: alert.id, do: 'take', who, note: null, minutes: null, askedMs: ms };
  return roomFor(next, take) ? { ...next, rev, decisions: [...asked, take] } : next;
}
