export type Route = { view: 'board' } | { view: 'hand-over' } | { view: 'truck'; fleet: string; truck: string };

const NAME = /^[A-Za-z0-9_-]{1,32}$/;

/** What stands after the #; anything else is the board. */
export function routeOf(hash: string): Route {
  const [first = '', fleet = '', truck = ''] = hash.replace(/^#\/?/, '').split('/');
  if (first === 'hand-over') return { view: 'hand-over' };
  if (first === 'trucks' && NAME.test(fleet) && NAME.test(truck)) return { view: 'truck', fleet, truck };
  return { view: 'board' };
}
