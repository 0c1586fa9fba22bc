import { useState } from 'preact/hooks';
import { Advises } from './board/foot.js';
import { signIn } from './live/http.js';

/** Name and password; they go to the office and are not kept. */
export function SignIn({ onSignedIn }: { onSignedIn: () => void }) {
  const [problem, setProblem] = useState<string | null>(null);
  const [isBusy, setBusy] = useState(false);

  const submit = async (event: SubmitEvent): Promise<void> => {
    event.preventDefault();
    const form = new FormData(event.currentTarget as HTMLFormElement);
    setBusy(true);
    const found = await signIn(String(form.get('name')), String(form.get('password')));
    setBusy(false);
    setProblem(found);
    if (found === null) onSignedIn();
  };

  return (
    <main class="sign-in">
      <h1>Axlepost board</h1>
      <form onSubmit={(event) => void submit(event)}>
        <label for="name">Name</label>
        <input id="name" name="name" autocomplete="username" required maxLength={64} />
        <label for="password">Password</label>
        <input id="password" name="password" type="password" autocomplete="current-password" required maxLength={256} />
        <button type="submit" class="first" disabled={isBusy}>
          Sign in
        </button>
        <p role="alert" class="problem">
          {problem}
        </p>
      </form>
      <Advises />
    </main>
  );
}
