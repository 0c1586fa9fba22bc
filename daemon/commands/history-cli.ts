import type { Command } from 'commander';
import type { Console } from './console.js';
import type { HistoryOptions } from './history-settings.js';

const several = (value: string, before: string[] = []): string[] => [...before, value];

/** `axlepost history` and its help. What it does is loaded only when it is asked for. */
export function addHistory(program: Command, console: Console): void {
  program
    .command('history')
    .description(
      'tell what databases hold: alerts, readings, brake applications, air, trips; nothing is ever written to them',
    )
    .argument(
      '[what...]',
      'alerts (default), events, readings, applications, air-tests, air-cycles, trips or start-checks; further databases',
    )
    .option(
      '--store <file>',
      'database of run (also while it runs) or of replay --store; a copy pulled off a truck; an archive of pack; a folder with any of these; may be given several times',
      several,
    )
    .option('--config <truck.yaml>', 'show values in the units of this truck file; without --store: its database')
    .option('--truck <name>', 'of several databases only those of this truck; may be given several times', several)
    .option(
      '--subject <name>',
      'tractor/2/left, and all that is in it; air/primary; may be given several times',
      several,
    )
    .option('--quantity <name>', 'of readings: pressure, temperature or speed; may be given several times', several)
    .option('--rule <name>', 'of alerts and events; may be given several times', several)
    .option('--urgency <level>', 'of alerts and events: plan, next-stop or pull-over, and what is worse')
    .option('--from <T>', 'not before: 2026-03-02 or 2026-03-02T14:03, in UTC')
    .option('--to <T>', 'up to, without the moment itself; a date means the whole of that day')
    .option('--last <time>', '12h, 90min, 7d: so long before --to, or before the newest that the database has')
    .option(
      '--every <time>',
      'of readings: 1h, 10min, 1d: one row per so long instead of per minute, counted from midnight in UTC',
    )
    .option(
      '--format <form>',
      'table (default), csv or ndjson; the latter two are in SI units, as docs/database.md has them; csv of applications has a stroke and a state per wheel end',
    )
    .option('--out <file>', 'write there; default: stdout')
    .option(
      '--events <file>',
      'events in canonical form, as replay --events --format canonical writes them; - for stdout',
    )
    .option(
      '--report <file.html>',
      'a report of that time, as replay --report makes it, out of what was kept by the minute',
    )
    .option('--verify', 'look at everything in the database and say what is wrong with it')
    .addHelpText(
      'after',
      `
Alerts and trips are those that lasted into the time asked for, everything else what began in it. Exit code 1: something could
not be read; what could be is told.

Examples:
  axlepost history --store axlepost.db
  axlepost history --store axlepost.db --last 7d --urgency next-stop
  axlepost history readings --store axlepost.db --subject tractor/2/left --last 1h --config truck.yaml
  axlepost history readings --store axlepost.db --subject tractor/2/left --quantity pressure --every 1h --last 7d
  axlepost history applications --store axlepost.db --from 2026-03-02 --to 2026-03-02 --format csv --out brakes.csv
  axlepost history trips --store pulled-from-trucks --truck T-1042 --format ndjson
  axlepost history --store T-1042.tar --report week.html
  axlepost history --store axlepost.db --events - | diff - shift.events
  axlepost history --store axlepost.db --verify`,
    )
    .action(async (words: string[], options: HistoryOptions) => {
      const { historyCommand } = await import('./history.js');
      process.exitCode = await historyCommand(words, options, console);
    });
}
