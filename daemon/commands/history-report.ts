import { basename } from 'node:path';
import type { StoreReader, Wanted } from '../../adapters/store/reader.js';
import type { TruckConfig } from '../../config/resolved.js';
import { isoTime } from '../alerts/iso-time.js';
import type { Console } from './console.js';
import { gatherStore } from './history-gather.js';
import type { HistorySettings } from './history-settings.js';
import { Progress } from './progress.js';
import { VERSION } from './version.js';
import { readPage, writeReport } from './write-report.js';

/** A report of more is slow to open, and nobody asks for it by leaving everything out. */
const DAYS = 7;
const DAY_MS = 86_400_000;

const dateOf = (ms: number): string => `${isoTime(ms).slice(0, 16).replace('T', ' ')} UTC`;

/** Writes the report and says so. Without a begin of time: of the last seven days of the database. Throws a Failure. */
export async function reportStore(
  reader: StoreReader,
  { path, name }: { path: string; name: string },
  { wanted, settings, config }: { wanted: Wanted; settings: HistorySettings; config: TruckConfig | null },
  { err }: Console,
): Promise<void> {
  readPage();
  const { fromMs, toMs } = wanted;
  const span = { fromMs, toMs };
  const notes: string[] = [];
  const [firstMs, lastMs] = [reader.runs[0]?.zero_wall_ms ?? null, toMs ?? reader.newestMs()];
  if (fromMs === null && firstMs !== null && lastMs !== null && lastMs - firstMs > DAYS * DAY_MS) {
    span.fromMs = lastMs - DAYS * DAY_MS;
    notes.push(
      `Only the last ${DAYS} days are told: from ${dateOf(span.fromMs)} on. The database begins with ${dateOf(firstMs)}.`,
    );
    err.write(`${name}: the last ${DAYS} days; --from, --to and --last take another time\n`);
  }
  notes.push(...filterNotes(settings), ...configNotes(reader, config));
  const progress = new Progress(err, 'report');
  progress.update(null, 'is being made');
  const { makeReport } = await import('../../report/story/make-report.js');
  const gathered = gatherStore(reader, { name: basename(name), config, wanted, span, notes });
  gathered.notes.push(...reader.problems.map((problem) => `In the database ${problem}.`));
  const { bytes, data } = writeReport(path, makeReport(gathered, { version: VERSION }));
  progress.end();
  const alerts = data.glance.alerts.length;
  const size = bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} KB` : `${(bytes / 1e6).toFixed(1)} MB`;
  err.write(`${path}: ${size}, ${alerts} ${alerts === 1 ? 'alert' : 'alerts'}\n`);
}

/** A report that leaves alerts out says so. */
function filterNotes({ subjects, wanted: { rules, urgencies } }: HistorySettings): string[] {
  const parts = [
    ...(subjects.length > 0 ? [`of ${subjects.join(', ')}`] : []),
    ...(rules !== null ? [`of ${rules.join(', ')}`] : []),
    ...(urgencies !== null ? [`of urgency ${urgencies.join(' or ')}`] : []),
  ];
  return parts.length === 0 ? [] : [`Only alerts ${parts.join(', ')} are told.`];
}

function configNotes({ about }: StoreReader, config: TruckConfig | null): string[] {
  if (config === null || config.truck === about.truck) return [];
  return [`The truck file is of ${config.truck}, the database of ${about.truck}: limits and layout may be others.`];
}
