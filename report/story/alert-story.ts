import type { Change, CloseReason, EventDraft } from '../../daemon/alerts/event.js';
import { measuredWords, RULE_WORDS, URGENCY_NAMES } from '../../daemon/alerts/words.js';
import type { AlertStory, Plot, Words } from '../data.js';
import type { Gathered } from '../gathered.js';
import { CHECKS } from '../words/checks.js';
import { judgedOf } from '../words/judged.js';
import type { FoundAlert } from './alerts.js';
import type { Depict, Picture } from './picture.js';
import { PICTURES } from './pictures.js';
import { delayOf, showOf } from './spans.js';
import { atS, type Window, windowsOf } from './window.js';
import { lasting } from './wording.js';

const CLOSE_WORDS: Record<CloseReason, string> = {
  'unit-gone': 'the unit was uncoupled',
  'position-changed': 'the position was changed in the truck file',
  'rule-changed': 'the rule was changed',
  'sensor-replaced': 'the sensor was replaced',
  'said-repaired': 'somebody said that it was repaired',
  'marked-bad': 'somebody called the sensor bad',
};

/** An alert as the report tells it in full. */
export function storyOf(gathered: Gathered, alert: FoundAlert): AlertStory {
  const show = showOf(gathered);
  const { plots, saw, hints } = pictureOf(gathered, alert);
  const { checks, sensorOrReal } = CHECKS[alert.rule];
  const draft = worstDraft(alert);
  return {
    id: alert.id,
    cause: alert.cause,
    rule: alert.rule,
    subject: alert.subject,
    place: alert.place,
    what: RULE_WORDS[alert.rule],
    kind: draft.kind,
    worst: alert.worst,
    fromS: atS(gathered, alert.fromMs),
    toS: alert.toMs === null ? null : atS(gathered, alert.toMs),
    end: endOf(alert),
    changes: alert.events.map(({ atMs, draft: d }) => ({
      s: atS(gathered, atMs),
      change: d.change,
      urgency: d.urgency,
      words: changeWords(d, show),
      who: d.who ?? null,
      note: d.note ?? null,
    })),
    saw: [...openBefore(gathered, alert), ...saw],
    judged: judgedOf(alert, show),
    plots,
    hints,
    advice: draft.advice,
    checks,
    sensorOrReal,
  };
}

/** What the event said that first reached its worst. */
function worstDraft({ events, worst }: FoundAlert): EventDraft {
  const isEnd = (d: EventDraft): boolean => d.change === 'cleared' || d.change === 'closed';
  const first = events.find(({ draft }) => draft.urgency === worst && !isEnd(draft));
  return (first ?? events[0]!).draft;
}

/** How it ended, or that it did not. */
function endOf(alert: FoundAlert): string {
  const event = alert.events.at(-1)!;
  const last = event.draft;
  if (last.change === 'cleared') {
    const delayS = delayOf(alert, event);
    return delayS > 0 ? `cleared: measured good for ${lasting(delayS)}` : 'cleared: measured good';
  }
  if (last.change === 'closed')
    return `closed, not cleared: ${last.reason === null ? 'no reason is known' : CLOSE_WORDS[last.reason]}`;
  return 'still open where these data end';
}

function changeWords(draft: EventDraft, show: Parameters<typeof measuredWords>[1]): string {
  const isOver = draft.change === 'cleared' || draft.change === 'closed';
  const measured = measuredWords(draft.measured, show, isOver);
  return [measured, extraWords(draft)].filter((words) => words !== '').join('; ');
}

const EXTRA: Partial<Record<Change, (d: EventDraft) => string>> = {
  closed: ({ reason }) => (reason === null ? '' : CLOSE_WORDS[reason]),
  unsure: () => 'the data are too old to tell',
  chattering: () => 'it changes so often that falls and clears are withheld',
  snoozed: ({ snoozeS }) => (snoozeS === undefined ? '' : `put off for ${lasting(snoozeS)}`),
  better: ({ was }) => (was === null ? '' : `was ${URGENCY_NAMES[was]}`),
};

function extraWords(draft: EventDraft): string {
  const said = EXTRA[draft.change]?.(draft) ?? '';
  const { forecast } = draft;
  if (forecast === null || forecast.inMs <= 0) return said;
  const ahead = `${forecast.what} expected in ${lasting(forecast.inMs / 1000)}`;
  return said === '' ? ahead : `${said}; ${ahead}`;
}

/** The first that is heard of an alert is not always its raise. */
function openBefore(gathered: Gathered, { events }: FoundAlert): Words[] {
  const { atMs, draft } = events[0]!;
  if (draft.change === 'raised') return [];
  const ago = draft.sinceAgoMs / 1000;
  return ago > 0
    ? [
        [
          'It was raised ',
          lasting(ago),
          ' before ',
          { atS: atS(gathered, atMs) },
          ', and its raise is not among these data.',
        ],
      ]
    : [['Its raise is not among these data.']];
}

const NOTHING: Depict = () => ({ plots: [], saw: [], hints: [] });

/** The picture of its rule over its first window; later windows add their plots only. */
function pictureOf(gathered: Gathered, alert: FoundAlert): Picture {
  const depict = PICTURES[alert.rule] ?? NOTHING;
  const [first, ...later] = windowsOf(gathered, alert);
  const picture = depict({ gathered, alert, ...first! });
  const more = later.flatMap((window) => {
    const title = laterTitle(alert, window);
    return depict({ gathered, alert, ...window }).plots.map((plot): Plot => ({ ...plot, title: plot.title + title }));
  });
  return { ...picture, plots: [...picture.plots, ...more] };
}

const LATER: [Change, string][] = [
  ['worse', 'when it got worse'],
  ['reopened', 'when it was raised again'],
  ['cleared', 'when it cleared'],
  ['closed', 'when it was closed'],
];

function laterTitle(alert: FoundAlert, { fromMs, toMs }: Window): string {
  const changes = alert.events.filter((e) => e.atMs >= fromMs && e.atMs <= toMs).map((e) => e.draft.change);
  const found = LATER.find(([change]) => changes.includes(change));
  return `, ${found?.[1] ?? 'later'}`;
}
