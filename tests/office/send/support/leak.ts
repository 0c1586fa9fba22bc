import type { Notice } from '../../../../office/core/model.js';
import { notice, officeAlert } from '../../store/messages.js';

/** The event that docs/topics.md shows, as the office tells of it. */
export const leak = (more: Partial<Notice> = {}, alert: Partial<Notice['alert']> = {}): Notice =>
  notice(Date.parse('2026-03-02T14:03:12.000Z'), {
    alert: officeAlert({
      id: 'T-1042.k3f9q2m1x7ab.401',
      since: '2026-03-02T13:51:40.000Z',
      at: '2026-03-02T14:03:11.000Z',
      measured: {
        ...{ quantity: 'leak rate', window: 'steady', value: 5.4, low: 4.6, high: 6.1, limit: 3.5 },
        ...{ unit: 'kPa/min', quality: 'good' },
      },
      evidence: {
        quantity: 'cold pressure',
        unit: 'kPa',
        points: [
          ['2026-03-02T13:55:00.000Z', 722],
          ['2026-03-02T14:01:00.000Z', 689.5],
        ],
      },
      forecast: {
        what: '80 % of cold pressure',
        at: '2026-03-02T14:28:00.000Z',
        from: '2026-03-02T14:22:00.000Z',
        to: '2026-03-02T14:36:00.000Z',
      },
      advice: 'Check the tire at the next safe stop.',
      basis: 'common practice',
      vehicle: { speed: 88.1, lat: 41.2, lon: -96.1, age: 1 },
      ...alert,
    }),
    ...more,
  });
