import type { ReceivedEvent } from '../../adapters/mqtt/messages.js';
import { type CsvCell, csvLine } from '../../adapters/text/csv.js';

/** Columns of events.csv, in order. Columns may be added at the end. */
const COLUMNS: Readonly<Record<string, (event: ReceivedEvent) => CsvCell>> = {
  fleet: ({ fleet }) => fleet,
  truck: ({ truck }) => truck,
  trailer: ({ trailer }) => trailer,
  store: ({ store }) => store,
  seq: ({ seq }) => seq,
  at: ({ at }) => at,
  since: ({ since }) => since,
  synced: ({ synced }) => synced,
  change: ({ change }) => change,
  reason: ({ reason }) => reason,
  urgency: ({ urgency }) => urgency,
  was: ({ was }) => was,
  kind: ({ kind }) => kind,
  rule: ({ rule }) => rule,
  place: ({ place }) => place,
  subject: ({ subject }) => subject,
  quantity: ({ measured: m }) => (m !== null && 'quantity' in m ? m.quantity : null),
  value: ({ measured: m }) => (m !== null && 'value' in m ? m.value : null),
  unit: ({ measured: m }) => (m !== null && 'unit' in m ? m.unit : null),
  limit: ({ measured: m }) => (m !== null && 'limit' in m ? m.limit : null),
  code: ({ measured: m }) => (m !== null && 'code' in m ? m.text : null),
  silent_s: ({ measured: m }) => (m !== null && 'silentS' in m ? m.silentS : null),
  who: ({ who }) => who,
  note: ({ note }) => note,
  advice: ({ advice }) => advice,
  basis: ({ basis }) => basis,
  speed_kmh: ({ vehicle }) => vehicle.speed,
  lat: ({ vehicle }) => vehicle.lat,
  lon: ({ vehicle }) => vehicle.lon,
  alert: ({ alert }) => alert,
  cause: ({ cause }) => cause,
};

/** RFC 4180 in UTF-8: a line of names, then one line per event, as csvLine writes it. */
export function eventsCsv(events: readonly ReceivedEvent[]): string {
  const columns = Object.values(COLUMNS);
  const rows = [Object.keys(COLUMNS), ...events.map((event) => columns.map((cellOf) => cellOf(event)))];
  return rows.map(csvLine).join('');
}
