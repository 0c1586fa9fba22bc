import { readFileSync } from 'node:fs';
import { explain } from '../../config/explain.js';
import { loadDefaults, loadTruckFile } from '../../config/load.js';
import { schemaFile } from '../../config/package.js';
import { formatProblem } from '../../config/problems.js';
import { buildLayout } from '../truck/layout.js';
import type { Out } from './console.js';

export interface CheckOptions {
  /** Every value with where it was written, every limit with its source. */
  explain?: boolean;
  /** Sends a test message through the broker of each good file. */
  sendTest?: boolean;
  /** Files of tests for rules, and folders of them: run with these truck files, else with the one that each names. */
  tests?: string[];
  /** The JSON Schema of truck files to `out`, and no check. */
  schema?: boolean;
}

/**
 * Checks truck files: one line per good file to `out`, one line per problem or note to `err`.
 * Returns the exit code: 0 when all are good, 2 otherwise; 1 when all are good and a test message was stopped, or tests of rules
 * did not give what they expect.
 */
export async function checkCommand(files: string[], out: Out, err: Out, options: CheckOptions = {}): Promise<number> {
  if (options.schema === true) {
    out.write(readFileSync(schemaFile(), 'utf8'));
    return 0;
  }
  if (options.tests !== undefined) {
    // The simulator's encoder is loaded by those alone who need it.
    const { checkRuleTests } = await import('./rule-tests.js');
    return await checkRuleTests(options.tests, files, out, err);
  }
  if (files.length === 0) {
    err.write('check: no truck file is named — axlepost check truck.yaml...\n');
    return 2;
  }
  let good = true;
  let arrived = true;
  for (const file of files) {
    const { config, notes, origins, problems } = loadTruckFile(file);
    if (config === undefined) {
      good = false;
      for (const problem of problems) err.write(`${formatProblem(problem)}\n`);
      continue;
    }
    for (const note of notes) err.write(`${formatProblem({ ...note, text: `note: ${note.text}` })}\n`);
    const { tires, wheelEnds } = buildLayout(config);
    if (options.explain === true) for (const line of explain(config, origins, loadDefaults())) out.write(`${line}\n`);
    out.write(`${file}: ok (${tires.length} tires, ${wheelEnds.length} brakes, config ${config.hash})\n`);
    if (options.sendTest === true) {
      // The MQTT client is loaded by those alone who send.
      const { sendTest } = await import('./send-test.js');
      arrived = (await sendTest(config, out, err)) && arrived;
    }
  }
  if (!good) return 2;
  return arrived ? 0 : 1;
}
