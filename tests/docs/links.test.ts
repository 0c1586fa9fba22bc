import { existsSync } from 'node:fs';
import { dirname, join, normalize } from 'node:path';
import { describe, expect, it } from 'vitest';
import { page, pages, ticked } from './pages.js';

const withoutCode = (text: string): string => text.replace(/^ *```[\s\S]*?^ *```/gm, '');

const anchors = (path: string): string[] =>
  [...withoutCode(page(path)).matchAll(/^#+ (.*)$/gm)].map(([, title]) =>
    title!
      .toLowerCase()
      .replace(/[^\p{L}\p{N} _-]/gu, '')
      .replaceAll(' ', '-'),
  );

describe('links', () => {
  it('of every page lead to something that is there', () => {
    const broken: string[] = [];
    let checked = 0;
    for (const from of pages()) {
      for (const [, target] of withoutCode(page(from)).matchAll(/\]\(([^)\s]+)\)/g)) {
        if (/^[a-z]+:/.test(target!)) continue;
        checked++;
        const [file, anchor] = target!.split('#');
        const path = file === '' ? from : normalize(join(dirname(from), file!));
        if (!existsSync(path)) broken.push(`${from}: ${target}`);
        else if (anchor !== undefined && !anchors(path).includes(anchor)) broken.push(`${from}: ${target}`);
      }
    }
    expect(broken).toEqual([]);
    expect(checked).toBeGreaterThan(15);
  });

  it('files that a page names in the text are there', () => {
    const named = /^(?:daemon|adapters|config|simulator|replay-logs|scripts|docs|tests|\.ci)\/[\w./-]*$/;
    const missing = pages().flatMap((from) =>
      ticked(withoutCode(page(from)))
        .filter((word) => named.test(word) && !existsSync(word))
        .map((word) => `${from}: ${word}`),
    );
    expect(missing).toEqual([]);
  });
});
