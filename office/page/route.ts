import { useEffect, useState } from 'preact/hooks';
import { type Route, routeOf } from './route-of.js';

export function useRoute(): Route {
  const [hash, setHash] = useState(location.hash);
  useEffect(() => {
    const changed = (): void => setHash(location.hash);
    window.addEventListener('hashchange', changed);
    return () => window.removeEventListener('hashchange', changed);
  }, []);
  return routeOf(hash);
}
