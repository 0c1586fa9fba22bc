import type { EventDraft, OpenDraft } from '../../daemon/alerts/event.js';
import type { StreamMs } from '../../daemon/time.js';
import type { Commit, DecidedBy, NumberedEvent } from './contract.js';

/** Open alerts whose last event is kept; the oldest go first. */
const MAX_DRAFTS = 1_000;

/** A commit, or what takes the place of those of a lost file: then who decided may not be known. */
export type Written = Omit<Commit, 'by'> & { by: DecidedBy | null };

/** What must be known without the file, so that another one can take its place. */
export class LastWords {
  /** Stream time of the last commit. */
  t: StreamMs = 0;
  #drafts = new Map<number, EventDraft>();
  #open: OpenDraft | null = null;
  #state: { state: string; t: StreamMs } | null = null;
  #by: DecidedBy | null = null;

  /** From an earlier run, whose times are others: its alerts are taken as found at the start of this one. */
  inherit(drafts: EventDraft[], open: OpenDraft | null): void {
    this.#drafts = new Map(drafts.slice(-MAX_DRAFTS).map((draft) => [draft.alert, draft]));
    this.#open = open === null ? null : { ...open, t: 0 };
  }

  /** The last event of each open alert, by ordinal. */
  get drafts(): ReadonlyMap<number, EventDraft> {
    return this.#drafts;
  }

  committed(commit: Written, numbered: readonly NumberedEvent[]): void {
    this.t = commit.t;
    this.#by = commit.by;
    if (commit.state !== null) this.#state = { state: commit.state, t: commit.t };
    this.#open = commit.open ?? this.#open;
    for (const { draft } of numbered) {
      this.#drafts.delete(draft.alert);
      if (draft.change === 'cleared' || draft.change === 'closed') continue;
      this.#drafts.set(draft.alert, draft);
      const oldest = this.#drafts.keys().next();
      if (this.#drafts.size > MAX_DRAFTS && !oldest.done) this.#drafts.delete(oldest.value);
    }
  }

  /** Commits that bring state and open alerts into a new database. */
  asCommits(): Written[] {
    const empty = { by: this.#by, events: [], history: [], records: [], trip: null };
    const commits: Written[] = [];
    if (this.#state !== null) commits.push({ ...empty, ...this.#state, open: null });
    if (this.#open !== null) commits.push({ ...empty, t: this.t, open: this.#open, state: null });
    return commits;
  }
}
