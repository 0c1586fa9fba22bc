import module from 'node:module';
import type BetterSqlite from 'better-sqlite3';

/**
 * SQLite, in the version of the package that fits this Node. Version 13 asks for Node-API 10 (Node 22.14) and crashes on what
 * is older. Version 12, built with the headers of Node 24.19 or newer, ends the process when the collector frees a statement
 * (WiseLibs/better-sqlite3, issue 1515). The two have the same interface as far as it is used here.
 */
const NODE_API = 10;

const load = module.createRequire(import.meta.url);

function fitting(): typeof BetterSqlite {
  return Number(process.versions.napi) >= NODE_API ? load('better-sqlite3-13') : load('better-sqlite3');
}

export const Database = fitting();
