import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { losingAir, madeUpAlert, madeUpSnapshot, madeUpTruck, STORE } from './support/made-up.js';
import { MadeUpOffice } from './support/made-up-office.js';
import { bundledPage, isSkipped, signIn, startBrowser, startStage, textOf } from './support/stage.js';

/* What a dispatcher does with the board, in a real browser, against the real web server. Waiting is for what must show up. */

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

describe.skipIf(isSkipped)('the board', () => {
  let browser: Browser;
  let pageFolder: string;
  beforeAll(async () => {
    [browser, pageFolder] = await Promise.all([startBrowser(), bundledPage()]);
  });
  afterAll(() => browser?.close());

  const stage = (more: Partial<Parameters<typeof startStage>[0]> = {}) => startStage({ browser, pageFolder, ...more });

  it('signs in and out, and says who is there', async () => {
    const { page, context, complaints } = await stage({ name: null });
    await page.getByLabel('Name').fill('Anna');
    await page.getByLabel('Password').fill('wrong words at all');
    await page.keyboard.press('Enter');
    await page.getByText('Name and password do not belong together.').waitFor();
    await signIn(page, 'Anna');
    expect(await textOf(page.locator('header'))).toContain('Anna');
    // Who signs out in one window has signed out in all.
    const other = await context.newPage();
    await other.goto(page.url());
    await other.getByRole('button', { name: 'Sign out' }).click();
    await other.getByLabel('Password').waitFor();
    await page.getByLabel('Password').waitFor();
    expect(complaints).toEqual([]);
  });

  it('has the most urgent first, then those that nobody has had for longest, and a flood in one line', async () => {
    const { page } = await stage();
    const rows = page.locator('#undecided article h3 .truck-name');
    expect(await rows.allInnerTexts()).toEqual(['T-1042', 'T-208', 'B-31', 'T-311']);
    expect(await textOf(page.locator('#undecided article').last())).toContain('7 things to plan');
    const first = await textOf(page.locator('#undecided article').first());
    for (const words of ['Pull over', 'with TR-77', 'tractor axle 2, left outer tire: losing air', '2.9 psi/min']) {
      expect(first).toContain(words);
    }
    expect(first).toMatch(/Forecast: 50 % of cold pressure in [89] to 1[89] min/);
    expect(first).toContain('moves at 55 mph at 41.2° N, 96.1° W');
    // It can be taken, not put off; it moves and is sure, so it cannot be closed.
    expect(first).not.toMatch(/Snooze|Close/);
  });

  it('is taken by one click; the wish shows as such until the truck has confirmed it', async () => {
    const { page, office } = await stage();
    const row = page.getByRole('article').filter({ hasText: 'T-1042' });
    await row.getByRole('button', { name: 'I have it' }).click();
    const asked = page.locator('#taken article').filter({ hasText: 'T-1042' });
    await asked.getByText('the truck has not confirmed it yet').waitFor();
    expect(office.wishes).toEqual([
      {
        fleet: 'northline',
        truck: 'T-1042',
        alert: `T-1042.${STORE}.401`,
        do: 'take',
        who: 'Anna',
        note: null,
        minutes: null,
      },
    ]);
    const at = new Date().toISOString();
    office.change('T-1042', `T-1042.${STORE}.401`, (alert) => ({ ...alert, asked: null, taken: { who: 'Anna', at } }));
    await asked.getByText('Anna has it since').waitFor();
    expect(await textOf(asked)).not.toContain('confirmed');
  });

  it('is taken with keys alone, and the focus goes with the row', async () => {
    const { page, office } = await stage();
    await page.locator('#undecided article .truck-name').first().focus();
    await page.keyboard.press('j');
    await page.keyboard.press('t');
    await page.locator('#taken article').filter({ hasText: 'T-208' }).waitFor();
    expect(office.wishes.map(({ truck, do: what }) => [truck, what])).toEqual([['T-208', 'take']]);
    expect(await page.evaluate('document.activeElement.closest("article").textContent')).toContain('T-208');
    // A letter outside of a row takes nothing.
    await page.getByLabel('Find a truck').focus();
    await page.keyboard.press('t');
    expect(office.wishes).toHaveLength(1);
  });

  it('reaches every control with Tab', async () => {
    const { page } = await stage();
    const names = new Set<string>();
    for (let i = 0; i < 80; i++) {
      await page.keyboard.press('Tab');
      names.add(
        String(await page.evaluate('document.activeElement.innerText || document.activeElement.tagName'))
          .split(':')[0]!
          .trim(),
      );
    }
    for (const name of [
      'Board',
      'Hand-over',
      'I have it',
      'Note …',
      'Snooze …',
      'Close …',
      'Give back now',
      'Sign out',
    ]) {
      expect([...names]).toContain(name);
    }
  });

  it('is snoozed until an end, with a note', async () => {
    const { page, office } = await stage();
    const row = page.getByRole('article').filter({ hasText: 'B-31' });
    await row.getByRole('button', { name: 'Snooze' }).click();
    await row.getByLabel('For').selectOption('120');
    expect(await row.getByLabel('For').locator('option:checked').textContent()).toMatch(/^2 h 00 min, until /);
    await row.getByLabel('Note').fill('tire is ordered');
    await row.getByRole('button', { name: 'Snooze', exact: true }).click();
    await page.locator('#snoozed article').filter({ hasText: 'B-31' }).waitFor();
    expect(office.wishes[0]).toMatchObject({ do: 'snooze', minutes: 120, note: 'tire is ordered' });
  });

  it('keeps what is being written when somebody else takes the alert', async () => {
    const { page, office } = await stage();
    const row = page.getByRole('article').filter({ hasText: 'B-31' });
    await row.getByRole('button', { name: 'Note' }).click();
    await page.keyboard.type('driver is cal');
    const taken = { who: 'Kim', at: new Date().toISOString() };
    office.change('B-31', `B-31.${STORE}.12`, (alert) => ({ ...alert, taken, isTaken: true }));
    await page.locator('#taken article').filter({ hasText: 'B-31' }).waitFor();
    await page.keyboard.type('led');
    expect(await row.getByLabel('Note').inputValue()).toBe('driver is called');
  });

  it('says in words why something was refused', async () => {
    const { page, office } = await stage();
    office.refusal = 'this alert is not open any more';
    const row = page.getByRole('article').filter({ hasText: 'T-1042' });
    await row.getByRole('button', { name: 'I have it' }).click();
    await row.getByText('Refused: this alert is not open any more').waitFor();
    expect(await textOf(page.locator('#undecided article').first())).toContain('T-1042');
  });

  it('takes a flood as a whole', async () => {
    const { page, office } = await stage();
    await page.getByRole('button', { name: 'I have all 7' }).click();
    await expect.poll(() => office.wishes.length).toBe(7);
    expect(new Set(office.wishes.map(({ alert }) => alert)).size).toBe(7);
  });

  it('takes all that is urgent on one truck at once, where there is more than one thing', async () => {
    const now = Date.now();
    const board = madeUpSnapshot(now);
    const air = losingAir(now);
    const alerts = [
      air,
      { ...air, id: `T-1.${STORE}.2`, urgency: 'next-stop' as const },
      madeUpAlert(now, { id: `T-1.${STORE}.3` }),
    ];
    board.trucks = [madeUpTruck(now, { truck: 'T-1', alerts })];
    const { page, office } = await stage({ office: new MadeUpOffice(board) });
    await page.getByRole('button', { name: 'I have all 2 of T-1' }).first().click();
    await page.locator('#taken article').nth(1).waitFor();
    expect(office.wishes.map(({ alert, do: what }) => [alert, what])).toEqual(
      alerts.slice(0, 2).map(({ id }) => [id, 'take']),
    );
  });

  it('shows text from trucks and people as text only', async () => {
    const evil = '<img src=x onerror="document.title=1"><script>alert(1)</script>';
    const now = Date.now();
    const board = madeUpSnapshot(now);
    const alert = { ...losingAir(now), place: evil, what: evil, advice: evil, note: evil, basis: evil };
    board.trucks = [madeUpTruck(now, { truck: 'T-666', trailer: evil, sick: [evil], alerts: [alert] })];
    board.notes = [evil];
    const { page, complaints } = await stage({ office: new MadeUpOffice(board) });
    const text = await textOf(page.locator('main'));
    expect(text.split(evil).length - 1).toBeGreaterThanOrEqual(6);
    expect(await page.locator('main img, main script').count()).toBe(0);
    expect(complaints).toEqual([]);
  });

  it('shows what others do and what trucks tell, at once', async () => {
    const { page, office, context } = await stage();
    const other = await context.newPage();
    await other.goto(page.url());
    await other.getByRole('article').filter({ hasText: 'T-1042' }).getByRole('button', { name: 'I have it' }).click();
    await page.locator('#taken article').filter({ hasText: 'T-1042' }).waitFor();
    const now = Date.now();
    office.tell(
      madeUpTruck(now, { truck: 'T-777', alerts: [{ ...losingAir(now), id: `T-777.${STORE}.1`, explains: [] }] }),
    );
    await page.locator('#undecided article').filter({ hasText: 'T-777' }).waitFor();
    await expect
      .poll(() => page.getByRole('alert').allInnerTexts())
      .toContain('Pull over: T-777, tractor axle 2, left outer tire, losing air');
    office.tellNotes(['the broker is away']);
    await page.getByText('the broker is away').waitFor();
  });

  it('says since when it is not live, and comes back by itself', async () => {
    const one = await stage();
    await one.page.getByText(/^Live · /).waitFor();
    await one.server.close();
    await one.page.getByText(/^Not live since /).waitFor();
    expect(await one.page.title()).toMatch(/^Not live · /);
    const row = one.page.getByRole('article').filter({ hasText: 'T-1042' });
    await row.getByRole('button', { name: 'I have it' }).click();
    await row.getByText('Not sent: the office cannot be reached').waitFor();
    await one.restart();
    await one.page.getByText(/^Live · /).waitFor();
    expect(await one.page.title()).not.toMatch(/Not live/);
  });

  it('takes a line that has said nothing for long for dead, and asks again', async () => {
    const { page } = await stage({ limits: { heartbeatMs: 3_600_000 } });
    await page.clock.install();
    await page.reload();
    await page.getByText(/^Live · /).waitFor();
    const again = page.waitForRequest('**/live');
    await page.clock.fastForward(45_000);
    await again;
    await page.getByText(/^Live · /).waitFor();
  });

  it('has a count in the title, and marks of what nobody here has looked at that survive a reload', async () => {
    const { page } = await stage();
    expect(await page.title()).toBe('(3) 1 pull over · Axlepost board');
    const marks = page.locator('#undecided .badge', { hasText: 'New' });
    expect(await marks.count()).toBe(3);
    await page.getByRole('article').filter({ hasText: 'B-31' }).locator('.how').click();
    await expect.poll(() => marks.count()).toBe(2);
    await page.reload();
    await page.getByRole('heading', { name: 'Needs a decision' }).waitFor();
    expect(await marks.count()).toBe(2);
    await page.getByRole('button', { name: 'I have seen all 2 new ones' }).click();
    await expect.poll(() => marks.count()).toBe(0);
  });
});
