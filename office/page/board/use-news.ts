import { useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import { KEYS, keep, kept } from '../live/keep.js';
import { notify } from '../live/notify.js';
import { said } from '../words/alerts.js';
import type { Case, Groups } from './groups.js';
import { type Announced, announcements, markOf, readMarks, unread, withMarks } from './news.js';

export interface News {
  unread: ReadonlySet<string>;
  see(marks: string[]): void;
  /** What a screen reader is to say: at once, and when it is convenient. */
  urgent: string;
  calm: string;
}

/** What came since this page looked, and what nobody at this browser has looked at yet. */
export function useNews(groups: Groups | null, doesNotify: boolean): News {
  const [marks, setMarks] = useState(() => readMarks(kept(KEYS.marks)));
  const [spoken, setSpoken] = useState({ urgent: '', calm: '' });
  const told = useRef<Set<string>>(new Set());
  const isFirst = useRef(true);

  const seen = useMemo(() => new Set(marks), [marks]);
  const unreadMarks = useMemo(() => new Set(groups === null ? [] : unread(groups, seen).map(markOf)), [groups, seen]);

  // A page that is hidden paints nothing, and must notify all the same: not after the paint.
  useLayoutEffect(() => {
    if (groups === null) return;
    const { fresh, told: now } = announcements(groups, told.current);
    const wasFirst = isFirst.current;
    isFirst.current = false;
    told.current = now;
    if (fresh.length === 0) return;
    // After a reload only what nobody here has looked at.
    const loud = fresh.filter(({ one, isAgain }) => isPullOver(one) && (isAgain || unreadMarks.has(markOf(one))));
    if (doesNotify) for (const { one, isAgain } of loud) notify(one, isAgain);
    if (wasFirst) return;
    setSpoken({
      urgent: sentences(fresh.filter(({ one }) => isPullOver(one))),
      calm: sentences(fresh.filter(({ one }) => !isPullOver(one))),
    });
  }, [groups, unreadMarks, doesNotify]);

  const see = (added: string[]): void =>
    setMarks((before) => {
      // Another page of this browser may have added some.
      const next = withMarks(withMarks(readMarks(kept(KEYS.marks)), before), added);
      keep(KEYS.marks, JSON.stringify(next));
      return next;
    });
  return { unread: unreadMarks, see, ...spoken };
}

const isPullOver = ({ alert }: Case): boolean => alert.urgency === 'pull-over';
const sentences = (found: Announced[]): string =>
  found.map(({ one, isAgain }) => `${isAgain ? 'Untaken. ' : ''}${said(one.truck, one.alert)}`).join('. ');
