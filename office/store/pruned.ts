interface Pruned {
  table: string;
  /** Oldest first. */
  order: string;
  /** Of which rows; given the places of the two times in the statement. */
  condition: (olderThan: string, now: string) => string;
}

const byReceipt = (table: string): Pruned => ({
  table,
  order: 'received_ms',
  condition: (olderThan) => `received_ms < ${olderThan}`,
});

/** What goes with age, in this order. Rows of trucks, accounts and notices that still wait stay. */
export const PRUNED: readonly Pruned[] = [
  byReceipt('events'),
  byReceipt('readings'),
  byReceipt('trips'),
  byReceipt('gaps'),
  {
    table: 'notices',
    order: 'done_ms',
    condition: (olderThan) => `state <> 'waiting' AND done_ms < ${olderThan}`,
  },
  { table: 'sessions', order: 'until_ms', condition: (_, now) => `until_ms <= ${now}` },
];
