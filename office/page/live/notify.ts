import { type Case, nameOf } from '../board/groups.js';
import { markOf } from '../board/news.js';
import { truckName, URGENCY_WORDS } from '../words/alerts.js';

export const canNotify = (): boolean => 'Notification' in window;

/** Asks the browser for leave, while a click is handled. */
export const mayNotify = async (): Promise<boolean> =>
  canNotify() && (await Notification.requestPermission()) === 'granted';

/** Outside of the window; several pages that say the same show it once. */
export function notify(one: Case, isAgain: boolean): void {
  if (!canNotify() || Notification.permission !== 'granted') return;
  const { truck, alert } = one;
  const again = isAgain ? 'Untaken: ' : '';
  const shown = new Notification(`${again}${URGENCY_WORDS[alert.urgency].name}: ${truckName(truck)}`, {
    body: `${alert.place}: ${alert.what}`,
    tag: `${again}${markOf(one)}`,
    requireInteraction: true,
  });
  shown.onclick = () => {
    window.focus();
    location.hash = `#/trucks/${nameOf(truck)}`;
    shown.close();
  };
}
