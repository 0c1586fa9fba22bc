import { cpSync } from 'node:fs';
import { type BuildOptions, build, type Plugin } from 'esbuild';

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

/** What both pages have in common. */
const PAGE: BuildOptions = {
  bundle: true,
  platform: 'browser',
  target: ['es2022', 'chrome111', 'firefox111', 'safari16.4'],
  jsx: 'automatic',
  jsxImportSource: 'preact',
  minify: true,
  // Licences of what is in it stay with it.
  legalComments: 'eof',
  logLevel: 'warning',
};

/** A page's script and its style. */
const entries = (folder: string, style: string): { in: string; out: string }[] =>
  [`${folder}/main.tsx`, `${folder}/${style}.css`].map((path) => ({ in: path, out: style }));

/** The office's board as a browser gets it: page, script and style, all from its own address and none of it inline. */
export async function bundlePage(folder = 'dist/office/page'): Promise<void> {
  await build({ ...PAGE, format: 'esm', entryPoints: entries('office/page', 'board'), outdir: folder });
  for (const name of ['index.html', 'icon.svg']) cpSync(`office/page/${name}`, `${folder}/${name}`);
}

/** What a report is drawn with, as one script and one style that the writer puts into each report. */
export async function bundleReportPage(folder = 'dist/report/page'): Promise<void> {
  await build({ ...PAGE, format: 'iife', entryPoints: entries('report/page', 'report'), outdir: folder });
}
