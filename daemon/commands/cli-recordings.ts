import type { Command } from 'commander';
import type { CompareOptions } from './compare.js';
import type { Console } from './console.js';
import type { ShiftsOptions } from './shifts.js';

const severalTimes = (one: string, before: string[] = []): string[] => [...before, one];

/** `axlepost shifts`, as the command line has it. */
export function addShifts(program: Command, console: Console): void {
  program
    .command('shifts')
    .description('replay folders of recorded shifts, each against its expected events')
    .argument('<folders...>', 'a shift is NAME.log.gz, NAME.pcapng … or a folder NAME, with NAME.events beside it')
    .option('--config <truck.yaml>', 'truck file where a shift has no NAME.yaml and its folder no truck.yaml')
    .option('--bless', 'show what differs, and accept it: write NAME.events anew')
    .option('--yes-bless', 'allow --bless where CI is set')
    .option('--strict', 'other numbers differ too')
    .option('--all-differences', 'show every difference, not only the first of each kind')
    .option('--junit <file.xml>', 'write the results as JUnit XML, for CI')
    .option('--jobs <N>', 'so many at a time (default: one for each core)')
    .option('--only <name>', 'only this shift; * stands for anything; may be given several times', severalTimes)
    .option('--report <folder>', 'write a report NAME.html of each shift there')
    .addHelpText(
      'after',
      `
docs/shift-tests.md describes the layout. Exit codes: 0 all as expected, 3 some are not, 1 some could not be run.

Examples:
  axlepost shifts replay-logs
  axlepost shifts shifts/T-1042 shifts/T-208 --junit shifts.xml
  axlepost shifts shifts --only 'T-208/*' --bless
  axlepost shifts shifts --report reports`,
    )
    .action(async (folders: string[], options: ShiftsOptions) => {
      const { shiftsCommand } = await import('./shifts.js');
      process.exitCode = await shiftsCommand(folders, options, console);
    });
}

/** `axlepost compare`, as the command line has it. */
export function addCompare(program: Command, console: Console): void {
  program
    .command('compare')
    .description('judge the same recordings with two configurations and tell which alerts differ')
    .argument('<logs...>', 'as for replay')
    .option('--config <A.yaml>', 'first truck file; recordings of run carry the one that was in force')
    .requiredOption('--with <B.yaml>', 'second truck file')
    .option('--from <T>', 'leave out what was over before (it is judged all the same); as for replay')
    .option('--to <T>', 'stop here')
    .option('--format <form>', 'table (default) or json, as docs/compare.md describes it')
    .addHelpText(
      'after',
      `
Both start from nothing, whatever state recordings carry. The exit code is 0 whether alerts differ or not.

Examples:
  axlepost compare morning-run.log.gz --config truck.yaml --with new-limits.yaml
  axlepost compare recordings --with new-limits.yaml
  axlepost compare T-1042.tar --with new-limits.yaml --format json`,
    )
    .action(async (logs: string[], options: CompareOptions) => {
      const { compareCommand } = await import('./compare.js');
      process.exitCode = await compareCommand(logs, options, console);
    });
}
