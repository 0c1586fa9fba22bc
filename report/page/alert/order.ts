import type { AlertStory } from '../../data.js';

/** Id of an alert's place on the page. */
export const anchorOf = (id: string): string => `alert-${id.replace(/[^\w.-]/g, '_')}`;

export interface Told {
  alert: AlertStory;
  consequences: AlertStory[];
  /** An alert explains it that is not told in full. */
  hasUntoldCause: boolean;
}

/** Alerts that stand for themselves, each with what it explains, however far down; in the order in which they came. */
export function toldOf(alerts: readonly AlertStory[]): Told[] {
  const byId = new Map(alerts.map((alert) => [alert.id, alert]));
  const rootOf = (alert: AlertStory): AlertStory => {
    const seen = new Set([alert.id]);
    let now = alert;
    for (;;) {
      const next = now.cause === null ? undefined : byId.get(now.cause);
      // A circle would be a mistake of who made the report; the page must still open.
      if (next === undefined || seen.has(next.id)) return now;
      seen.add(next.id);
      now = next;
    }
  };
  const told = new Map<string, Told>();
  for (const alert of alerts) {
    if (rootOf(alert) === alert) told.set(alert.id, { alert, consequences: [], hasUntoldCause: alert.cause !== null });
  }
  const lost: AlertStory[] = [];
  for (const alert of alerts) {
    if (told.has(alert.id)) continue;
    const root = told.get(rootOf(alert).id);
    if (root === undefined) lost.push(alert);
    else root.consequences.push(alert);
  }
  return [...told.values(), ...lost.map((alert) => ({ alert, consequences: [], hasUntoldCause: true }))];
}
