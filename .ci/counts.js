// Prints "passed failed" from vitest's JSON report; what is not good is told on stderr.
// In CI every test runs: one that was skipped counts as failed, unless it cannot run as root.
import { readFileSync } from 'node:fs';

const NOT_AS_ROOT = /not as root/;

const report = JSON.parse(readFileSync(process.argv[2], 'utf8'));
let passed = 0;
let failed = 0;
for (const file of report.testResults) {
  // A file that breaks while it is loaded has no tests of its own.
  if (file.status === 'failed' && !file.assertionResults.some(({ status }) => status === 'failed')) {
    failed++;
    console.error(`failed: ${file.name}: ${file.message}`);
  }
  for (const { status, fullName } of file.assertionResults) {
    if (status === 'passed') passed++;
    else if (status === 'failed' || !NOT_AS_ROOT.test(fullName)) {
      failed++;
      console.error(`${status}: ${fullName}`);
    } else {
      console.error(`left out: ${fullName}`);
    }
  }
}
if (passed === 0) failed++;
console.log(passed, failed);
