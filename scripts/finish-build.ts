import { rmSync, writeFileSync } from 'node:fs';
import { COMPILED_DEFAULTS, compileDefaults } from '../config/defaults.js';
import { bundle, bundlePage, bundleReportPage } from './bundle.js';

/*
 * What tsc leaves to do. Start-up was half of the time of a replay of four million frames: 300 small files were loaded one
 * by one, and config/defaults.yaml was parsed each time.
 */

writeFileSync(COMPILED_DEFAULTS, JSON.stringify(compileDefaults()));

// Chunks are named by their content: old ones would pile up.
rmSync('dist/chunks', { recursive: true, force: true });
await bundle({ axlepost: 'daemon/cli.ts' }, 'chunks');
// By itself: a worker that loads one file is there in half the time, and the first reading waits for it.
await bundle({ 'workers/store': 'adapters/store/worker.ts' }, 'chunks');
await bundle({ 'workers/shifts': 'daemon/commands/shifts-worker.ts' }, 'chunks');
await bundlePage();
await bundleReportPage();
