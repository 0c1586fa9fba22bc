import { useEffect, useState } from 'preact/hooks';
import { BoardPage } from './board/page.js';
import { type Me, whoAmI } from './live/http.js';
import { SignIn } from './sign-in.js';

const AGAIN_MS = 5000;

/** Who is there, and then the board. */
export function App() {
  const [me, setMe] = useState<Me | null | 'asking' | 'away'>('asking');
  const [asked, setAsked] = useState(0);
  const ask = (): void => setAsked((n) => n + 1);
  useEffect(() => {
    let retry: ReturnType<typeof setTimeout> | undefined;
    whoAmI().then(setMe, () => {
      setMe('away');
      retry = setTimeout(ask, AGAIN_MS);
    });
    return () => clearTimeout(retry);
  }, [asked]);

  if (me === 'asking') return <p class="waiting">Asking the office who you are …</p>;
  if (me === 'away')
    return (
      <p class="waiting" role="alert">
        The office cannot be reached. Trying again every 5 s.
      </p>
    );
  if (me === null) return <SignIn onSignedIn={ask} />;
  return <BoardPage me={me} onSignedOut={() => setMe(null)} />;
}
