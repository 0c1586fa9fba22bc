import type { OfficeAlert, Standing, Step, Story } from './model.js';
import { isVolatile } from './received.js';

/** Changes of one alert that an `open` has not confirmed yet: it follows each change within seconds. */
const MAX_STEPS = 24;
/** Alerts of one truck with such changes. */
export const MAX_STORIES = 400;

const NEW: Standing = { unsure: false, chattering: false, taken: null, snoozed: null, note: null, noteSeq: 0 };

export const isEnd = ({ change }: Pick<Step, 'change'>): boolean => change === 'cleared' || change === 'closed';

/** What holds after one more change. A snooze ends without a word of its own when the alert gets worse or ends. */
function after(before: Standing, step: Step): Standing {
  const s = step.note === null ? before : withNote(before, step.note, step);
  switch (step.change) {
    // Who had taken it when it cleared still has it when it comes back: it is the same alert.
    case 'raised':
    case 'reopened':
    case 'cleared':
    case 'closed':
      return { ...NEW, taken: s.taken, note: s.note, noteSeq: s.noteSeq };
    case 'worse':
      return { ...s, snoozed: null };
    // Falls are withheld while it chatters: one that is told ends that.
    case 'better':
      return { ...s, chattering: false };
    case 'unsure':
      return { ...s, unsure: true };
    // After both it is the data that are back; its chattering ends with another one.
    case 'sure':
      return s.unsure ? { ...s, unsure: false } : { ...s, chattering: false };
    case 'chattering':
      return { ...s, chattering: true };
    case 'taken':
      return { ...s, taken: step.who === null ? s.taken : { who: step.who, at: step.at } };
    case 'snoozed':
      return { ...s, snoozed: step.until === null ? s.snoozed : { who: step.who ?? '', until: step.until } };
    case 'resumed':
      return { ...s, snoozed: null };
  }
}

/** With what a person wrote; an older note does not replace a newer one. */
export function withNote(s: Standing, note: string, from: Pick<Step, 'store' | 'seq'>): Standing {
  if (isVolatile(from.store)) return { ...s, note };
  return from.seq > s.noteSeq ? { ...s, note, noteSeq: from.seq } : s;
}

/** What holds after all of them; null: it is not open. */
export function standingOf(story: Story): Standing | null {
  const last = story.steps.at(-1);
  if (last === undefined) return story.base;
  return isEnd(last) ? null : told(story.base, story.steps);
}

/** What has been told of it, whether it is open or not. */
export const told = (base: Standing | null, steps: readonly Step[]): Standing => steps.reduce(after, base ?? NEW);

export const standingIn = (alert: OfficeAlert): Standing => ({
  unsure: alert.unsure,
  chattering: alert.chattering,
  taken: alert.taken,
  snoozed: alert.snoozed,
  note: alert.note,
  noteSeq: alert.noteSeq,
});

/** What a truck tells while it cannot write comes after all that it has written. */
const isBefore = (a: Step, b: Step): boolean =>
  isVolatile(a.store) === isVolatile(b.store) ? a.seq < b.seq : isVolatile(b.store);

/** The step at its place; null: it is there already, or older than what is remembered. */
export function withStep(story: Story, step: Step): Story | null {
  const { steps } = story;
  if (steps.some(({ store, seq }) => store === step.store && seq === step.seq)) return null;
  const index = steps.findLastIndex((each) => isBefore(each, step)) + 1;
  const all = [...steps.slice(0, index), step, ...steps.slice(index)];
  if (all.length <= MAX_STEPS) return { ...story, steps: all };
  if (index === 0) return null;
  const [oldest, ...rest] = all;
  return { ...story, base: after(story.base ?? NEW, oldest!), steps: rest };
}

/** Whether the step would be the last word on the alert. */
export const isNewest = (story: Story, step: Step): boolean => {
  const last = story.steps.at(-1);
  return last === undefined || isBefore(last, step);
};

/** Too many: those whose last change is oldest go; the alerts stay as they are. */
export const bounded = (stories: Story[]): Story[] =>
  stories.length > MAX_STORIES ? stories.slice(-MAX_STORIES) : stories;
