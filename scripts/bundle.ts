import { cpSync } from 'node:fs';
import { build, type Plugin } from 'esbuild';

/** Packages with native parts or workers of their own, and those that only some commands load, stay outside. */
const EXTERNAL = ['better-sqlite3', 'better-sqlite3-13', 'socketcan', 'unix-dgram', 'aedes'];

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

/**
 * A program as one file and its chunks, as it is shipped; names of chunks are made of their content.
 * @param entryPoints name below dist/ → source @param chunks folder below dist/
 */
export async function bundle(entryPoints: Record<string, string>, chunks: string): Promise<void> {
  await build({
    entryPoints,
    outdir: 'dist',
    chunkNames: `${chunks}/[name]-[hash]`,
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
}

/** The office's board as a browser gets it: page, script and style, all from its own address and none of it inline. */
export async function bundlePage(folder = 'dist/office/page'): Promise<void> {
  await build({
    entryPoints: [
      { in: 'office/page/main.tsx', out: 'board' },
      { in: 'office/page/board.css', out: 'board' },
    ],
    outdir: folder,
    bundle: true,
    format: 'esm',
    platform: 'browser',
    target: ['es2022', 'chrome111', 'firefox111', 'safari16.4'],
    jsx: 'automatic',
    jsxImportSource: 'preact',
    minify: true,
    // Licences of what is in it stay with it.
    legalComments: 'eof',
    logLevel: 'warning',
  });
  for (const name of ['index.html', 'icon.svg']) cpSync(`office/page/${name}`, `${folder}/${name}`);
}

/** What a report is drawn with, as one script and one style that the writer puts into each report. */
export async function bundleReportPage(folder = 'dist/report/page'): Promise<void> {
  await build({
    entryPoints: [
      { in: 'report/page/main.tsx', out: 'report' },
      { in: 'report/page/report.css', out: 'report' },
    ],
    outdir: folder,
    bundle: true,
    format: 'iife',
    platform: 'browser',
    target: ['es2022', 'chrome111', 'firefox111', 'safari16.4'],
    jsx: 'automatic',
    jsxImportSource: 'preact',
    minify: true,
    legalComments: 'eof',
    logLevel: 'warning',
  });
}
