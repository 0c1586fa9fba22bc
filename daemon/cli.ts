#!/usr/bin/env node
import { Command } from 'commander';
import { type CheckOptions, checkCommand } from './commands/check.js';
import { addCompare, addShifts } from './commands/cli-recordings.js';
import type { Console } from './commands/console.js';
import type { DemoOptions } from './commands/demo.js';
import { EXIT, Failure } from './commands/failure.js';
import { addHistory } from './commands/history-cli.js';
import type { MarkOptions } from './commands/mark.js';
import type { OfficeOptions } from './commands/office.js';
import type { PackOptions } from './commands/pack.js';
import type { ReplayOptions } from './commands/replay-settings.js';
import type { SimulateOptions } from './commands/simulate.js';
import type { SurveyOptions } from './commands/survey.js';
import { VERSION } from './commands/version.js';

const console_: Console = { out: process.stdout, err: process.stderr };

const SAFETY = `
Axlepost advises. It does not replace the driver's inspection, a gauge, a ruler, local codes or a licensed mechanic.`;

const program = new Command('axlepost')
  .description(
    "Listens to a truck's J1939 bus, judges tires, brake stroke and air, and tells the fleet office over MQTT.",
  )
  .version(VERSION)
  .addHelpText('after', '\nExample:\n  axlepost replay morning-run.log.gz --config truck.yaml')
  .addHelpText('after', SAFETY)
  .configureOutput({
    // Errors are one line that says what to do.
    outputError: (text, write) =>
      write(`${text.replace(/^error: /, '').trim()}; "axlepost COMMAND --help" tells more\n`),
  })
  .exitOverride();

program
  .command('run')
  .description('listen to the truck and tell the office, until stopped')
  .requiredOption('--config <truck.yaml>', 'truck file')
  .addHelpText('after', '\nExample:\n  axlepost run --config /etc/axlepost/truck.yaml')
  .action(async (options: { config: string }) => {
    const { runCommand } = await import('./commands/run.js');
    process.exitCode = await runCommand(options.config, console_);
  });

program
  .command('replay')
  .description('run the same program over recorded traffic')
  .argument(
    '<logs...>',
    'logs in any order, plain or gzipped: recordings of run, candump -L or -t text, pcap or pcapng of CAN; an archive of pack; a folder with any of these (a USB stick); - for stdin',
  )
  .option('--config <truck.yaml>', 'truck file; recordings of run carry the one that was in force')
  .option('--speed <N>', 'max, or N times real time', 'max')
  .option(
    '--from <T>',
    'show events from here (what lies before is judged all the same): seconds, h:mm:ss, or a time like 2026-03-02T14:03:00Z',
  )
  .option('--to <T>', 'stop here')
  .option('--settle', 'let 61 s pass after the last frame, so that the truck is seen to be parked')
  .option('--fresh', 'start without the state that recordings carry')
  .option('--format <form>', 'of --events: ndjson (default) or canonical')
  .option('--events <file>', 'write events there, one JSON line each; - for stdout')
  .option('--store <newfile>', 'keep history in a new SQLite file')
  .option(
    '--report <file.html>',
    'write one file with the shift at a glance and each alert with the minutes around it, for a browser and for print; an earlier report is replaced',
  )
  .option(
    '--publish <url>',
    'send to this broker, under axlepost-replay/1/…, nothing retained (with what lies before --from)',
  )
  .option('--yes-publish', 'allow a broker that is not on this machine')
  .option('--expect <file>', 'compare with canonical events; exit code 3 when they differ')
  .option('--strict', 'with --expect: other numbers differ too')
  .option('--bless', 'with --expect: show the difference, and accept it: write what came to that file')
  .option('--yes-bless', 'allow --bless where CI is set')
  .option('--all-differences', 'with --expect: show every difference, not only the first of each kind')
  .addHelpText(
    'after',
    `
Examples:
  axlepost replay morning-run.log.gz --config truck.yaml
  axlepost replay recordings/T-1042-000012-*.log.gz
  axlepost replay T-1042.tar
  axlepost replay /media/stick --config truck.yaml
  axlepost replay can0.pcapng --config truck.yaml
  axlepost replay shift-1.log shift-2.log --config truck.yaml --events shift.ndjson --store shift.db
  axlepost replay morning-run.log.gz --config truck.yaml --report morning-run.html
  axlepost replay shift.log --config truck.yaml --expect shift.events
  axlepost replay shift.log --config truck.yaml --expect shift.events --bless`,
  )
  .action(async (logs: string[], options: ReplayOptions) => {
    const { replayCommand } = await import('./commands/replay.js');
    process.exitCode = await replayCommand(logs, options, console_);
  });

addShifts(program, console_);
addCompare(program, console_);

program
  .command('survey')
  .description('listen to a bus, or read a log, and print what is there')
  .argument('<sources...>', 'CAN interfaces like can0, or logs as for replay; - for stdin')
  .option('--seconds <N>', 'listen for so long (default: 60; a log is read whole)')
  .option('--config <truck.yaml>', 'compare with this truck file')
  .option('--draft <newfile>', 'write a truck file to start from')
  .option('--all', 'print every signal, not only those that rules need')
  .option('--format <form>', 'text (default) or json, as docs/survey.md describes it')
  .addHelpText(
    'after',
    `
Examples:
  axlepost survey can0
  axlepost survey can0 can1 --seconds 300 --draft truck.yaml
  axlepost survey morning-run.log.gz --config truck.yaml
  axlepost survey capture.pcapng`,
  )
  .action(async (sources: string[], options: SurveyOptions) => {
    const { surveyCommand } = await import('./commands/survey.js');
    process.exitCode = await surveyCommand(sources, options, console_);
  });

program
  .command('simulate')
  .description('drive a truck that does not exist, and write what its bus would have carried')
  .argument('<scenario.yaml>', 'scenario file; simulator/shifts/ has some')
  .requiredOption('--out <shift.log>', 'a new file, candump text; packed with gzip when it ends in .gz')
  .option('--truth <truth.ndjson>', 'a new file for what was really wrong, and what must be told of it')
  .option('--config <truck.yaml>', 'a new file for the truck file that fits')
  .option('--seed <N>', "instead of the scenario's own")
  .addHelpText(
    'after',
    `
The same scenario and seed give the same bytes on every machine.

Example:
  axlepost simulate simulator/shifts/mountain-pass.yaml --out pass.log.gz --truth pass.ndjson --config pass.yaml`,
  )
  .action(async (scenario: string, options: SimulateOptions) => {
    const { simulateCommand } = await import('./commands/simulate.js');
    process.exitCode = await simulateCommand(scenario, options, console_);
  });

program
  .command('check')
  .description('check truck files')
  .argument('[truck.yaml...]', 'truck files')
  .option('--explain', 'every limit: where it comes from and on whose authority')
  .option('--schema', 'print the JSON Schema of truck files, for editors')
  .option(
    '--tests <file>',
    'run tests of rules (docs/rule-tests.md), of a file or of all files in a folder; may be given several times',
    (path: string, before: string[] = []) => [...before, path],
  )
  .option('--send-test', 'send a test message to the office and tell each step of its way')
  .addHelpText(
    'after',
    `
Examples:
  axlepost check trucks/*.yaml
  axlepost check trucks/T-1042.yaml --explain
  axlepost check --tests my-limits.yaml trucks/T-1042.yaml
  axlepost check trucks/T-1042.yaml --send-test

A test of rules says what readings come and which events are expected:
  truck: T-1042.yaml
  tests:
    - name: low at 85 % for ten minutes is told
      series:
        - {subject: tractor/2/left/outer, quantity: pressure, values: [85 %]}
      expect:
        - {rule: tire-underinflated, subject: tractor/2/left/outer, urgency: plan, at: 10:00, within: 15 s}`,
  )
  .action(async (files: string[], options: CheckOptions) => {
    process.exitCode = await checkCommand(files, process.stdout, process.stderr, options);
  });

program
  .command('mark')
  .description('say that a sensor is bad and its wheel, brake or circuit good: it is not judged until then')
  .argument('[subject]', 'as events name it, for example tractor/2/left/outer')
  .argument('[what]', 'sensor-bad')
  .requiredOption('--config <truck.yaml>', 'truck file')
  .option('--days <N>', 'for so many days')
  .option('--who <name>', 'who says so')
  .option('--end', 'take the mark back')
  .option('--list', 'print what is marked')
  .addHelpText(
    'after',
    `
Examples:
  axlepost mark tractor/2/left/outer sensor-bad --days 7 --who "J. Doe" --config truck.yaml
  axlepost mark tractor/2/left/outer --end --config truck.yaml
  axlepost mark --list --config truck.yaml`,
  )
  .action(async (subject: string | undefined, what: string | undefined, options: MarkOptions) => {
    const { markCommand } = await import('./commands/mark.js');
    process.exitCode = markCommand(subject, what, options, console_);
  });

program
  .command('pack')
  .description('put recordings, history, truck file, versions and health into one archive, for support')
  .requiredOption('--config <truck.yaml>', 'truck file')
  .requiredOption('--last <time>', 'recordings of so long: 12h, 90min, 3d')
  .requiredOption('--out <file.tar>', 'a new file; packed with gzip when it ends in .tar.gz')
  .addHelpText(
    'after',
    `
The daemon may go on meanwhile. No password or key goes into the archive; recordings hold what the bus said, positions too
where the truck file keeps them.

Example:
  axlepost pack --last 12h --out T-1042.tar --config truck.yaml`,
  )
  .action(async (options: PackOptions) => {
    const { packCommand } = await import('./commands/pack.js');
    process.exitCode = await packCommand(options, console_);
  });

addHistory(program, console_);

program
  .command('office')
  .description("the dispatcher's board: hears all trucks, until stopped")
  .option('--config <office.yaml>', 'office file; without one: the broker on this machine, ./office.db')
  .option('--add-account <name>', 'let somebody sign in; asks for a password')
  .option('--password <name>', 'give somebody another password')
  .option('--remove-account <name>', 'let somebody sign in no more')
  .option('--accounts', 'print who can sign in')
  .addHelpText(
    'after',
    `
Examples:
  axlepost office --add-account "night desk"
  axlepost office
  axlepost office --config /etc/axlepost/office.yaml`,
  )
  .action(async (options: OfficeOptions) => {
    const { officeCommand } = await import('./commands/office.js');
    process.exitCode = await officeCommand(options, console_);
  });

program
  .command('demo')
  .description('replay the demonstration shift through a broker inside this process, then open the board')
  .option('--once', 'end when the shift is over')
  .addHelpText('after', '\nExamples:\n  axlepost demo\n  axlepost demo --once')
  .action(async (options: DemoOptions) => {
    const { demoCommand } = await import('./commands/demo.js');
    process.exitCode = await demoCommand(options, console_);
  });

// A reader that closes the pipe (head, less) has seen enough.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  process.exit(error.code === 'EPIPE' ? EXIT.done : EXIT.failed);
});

try {
  await program.parseAsync();
} catch (error) {
  if (error instanceof Failure) {
    process.stderr.write(`${error.message}\n`);
    process.exitCode = error.exitCode;
  } else if (
    error instanceof Error &&
    'exitCode' in error &&
    'code' in error &&
    String(error.code).startsWith('commander.')
  ) {
    process.exitCode = error.exitCode === 0 ? EXIT.done : EXIT.usage;
  } else {
    throw error;
  }
}
