import { rmSync, writeFileSync } from 'node:fs';
import { build, type Plugin } from 'esbuild';
import { COMPILED_DEFAULTS, compileDefaults } from '../config/defaults.js';

/*
 * What tsc leaves to do. Start-up was half of the time of a replay of four million frames: 300 small files were loaded one
 * by one, and config/defaults.yaml was parsed each time.
 */

/** Packages with native parts or workers of their own, and those that only some commands load, stay outside. */
const EXTERNAL = ['better-sqlite3', 'socketcan', 'unix-dgram', 'mqtt', 'pino', 'aedes'];

/** zod's index of its sixty languages cannot be shaken off; English is all that is asked for. */
const onlyEnglish: Plugin = {
  name: 'only-english',
  setup(plugin) {
    plugin.onLoad({ filter: /zod[\\/]v4[\\/]locales[\\/]index\.js$/ }, () => ({
      contents: "export { default as en } from './en.js';",
      loader: 'js',
    }));
  },
};

writeFileSync(COMPILED_DEFAULTS, JSON.stringify(compileDefaults()));

// Chunks are named by their content: old ones would pile up.
rmSync('dist/chunks', { recursive: true, force: true });
await build({
  entryPoints: { axlepost: 'daemon/cli.ts' },
  outdir: 'dist',
  chunkNames: 'chunks/[name]-[hash]',
  bundle: true,
  splitting: true,
  format: 'esm',
  platform: 'node',
  target: 'node20.19',
  mainFields: ['module', 'main'],
  external: EXTERNAL,
  plugins: [onlyEnglish],
  sourcemap: true,
  // Less to parse at each start; names stay as they are, for stack traces.
  minifyWhitespace: true,
  minifySyntax: true,
  logLevel: 'warning',
  // commander is a CommonJS package.
  banner: { js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);" },
});
