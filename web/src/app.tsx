/** The book: bookmarks on top, one page below, what is being worked on at the foot. */
import { createEffect, For, Match, on, onCleanup, Show, Switch, type JSX } from 'solid-js';
import { book, connected, redo, undo, unpaired } from './api.js';
import { here } from './route.js';
import { TroubleNote } from './parts/trouble-note.js';
import { JobStrip } from './parts/job-strip.js';
import { CutPage } from './pages/cut.js';
import { DayPage } from './pages/day.js';
import { LedgerPage } from './pages/ledger.js';
import { PairPage } from './pages/pair.js';
import { SheetPage } from './pages/sheet.js';
import { WallPage } from './pages/wall.js';
import { Viewer } from './viewer/viewer.js';

const BOOKMARKS = [
  ['wall', 'Wall'],
  ['day', 'Shoot day'],
  ['cut', 'Cut'],
  ['ledger', 'Ledger'],
] as const;

/** A phone that came in by its own way sees the shoot day alone. */
const phone = (): boolean => unpaired() || here().page === 'pair' || book()?.phone === true;

export function App(): JSX.Element {
  followPage();
  takeBackByKeys();
  return (
    // Which state of the book is shown, for who checks the page from outside.
    <div class="desk" data-pulse={book()?.pulse}>
      <SkipToPage />
      <Head />
      <Notices />
      <main id="page" class="page" tabindex="-1">
        <Page />
      </main>
      <JobStrip />
      <Viewer />
    </div>
  );
}

/** The window's name tells tabs apart; a page that was gone to is read from its top, and has the keyboard. */
function followPage(): void {
  const name = () => {
    const at = here();
    return at.page === 'sheet'
      ? (book()?.picks.find((p) => p.id === at.id)?.title ?? 'Sheet')
      : (BOOKMARKS.find(([id]) => id === at.page)?.[1] ?? 'Shoot day');
  };
  createEffect(() => {
    document.title = `${name()} · ${book()?.production.title ?? 'Platewright'}`;
  });
  createEffect(
    on(
      here,
      () => {
        window.scrollTo(0, 0);
        document.getElementById('page')?.focus({ preventScroll: true });
      },
      { defer: true },
    ),
  );
}

/** Take back and do again by the keyboard, as long as the page is open. */
function takeBackByKeys(): void {
  const onKey = (e: KeyboardEvent): void => {
    // A slider or a box has no text of its own to take back.
    const typing =
      e.target instanceof HTMLElement &&
      (/^(TEXTAREA|SELECT)$/.test(e.target.tagName) ||
        (e.target instanceof HTMLInputElement && !/^(range|checkbox|radio|file)$/.test(e.target.type)));
    if (typing || phone() || !(e.ctrlKey || e.metaKey)) return;
    if (e.key.toLowerCase() === 'z') {
      e.preventDefault();
      void (e.shiftKey ? redo() : undo());
    }
  };
  // On the window: with nothing in focus the keyboard is the page's own.
  window.addEventListener('keydown', onKey);
  onCleanup(() => window.removeEventListener('keydown', onKey));
}

/** The address holds the page: the browser's own jump would leave it. */
function SkipToPage(): JSX.Element {
  return (
    <a
      class="skip"
      href="#page"
      onClick={(e) => {
        e.preventDefault();
        document.getElementById('page')?.focus();
      }}
    >
      To the page
    </a>
  );
}

function Head(): JSX.Element {
  return (
    <header class="head">
      <h1 class="title">
        <span class="name">Platewright</span>{' '}
        <Show when={book()}>{(b) => <span class="production">{b().production.title}</span>}</Show>
      </h1>
      <Bookmarks />
      <Show when={!phone()}>
        <TakeBack />
      </Show>
    </header>
  );
}

function Bookmarks(): JSX.Element {
  return (
    <nav class="bookmarks" aria-label="Pages">
      <For each={BOOKMARKS.filter(([id]) => !phone() || id === 'day')}>
        {([id, label]) => (
          <a href={`#/${id}`} aria-current={here().page === id || phone() ? 'page' : undefined}>
            {label}
          </a>
        )}
      </For>
      <Show when={here().page === 'sheet' && !phone()}>
        <a href={location.hash} aria-current="page">
          Sheet
        </a>
      </Show>
    </nav>
  );
}

function TakeBack(): JSX.Element {
  const lastEdit = () => book()?.history.find((h) => !h.undone)?.title;
  const undone = () => book()?.history.some((h) => h.undone) ?? false;
  return (
    <div class="pencil">
      <button
        onClick={() => void undo()}
        disabled={lastEdit() === undefined}
        title={lastEdit() === undefined ? 'nothing to take back' : `take back: ${lastEdit()}`}
      >
        Take back
      </button>
      <button onClick={() => void redo()} disabled={!undone()}>
        Do again
      </button>
    </div>
  );
}

/** What is wrong just now. */
function Notices(): JSX.Element {
  return (
    <>
      <Show when={!connected() && !unpaired()}>
        <p class="margin-note" role="status">
          The service does not answer. What you did is kept; this page goes on when it is back.
        </p>
      </Show>
      <TroubleNote />
    </>
  );
}

/** The page that the address names. */
function Page(): JSX.Element {
  return (
    <Show
      when={!unpaired()}
      fallback={<PairPage code={here().page === 'pair' ? (here() as { code: string }).code : ''} />}
    >
      <Show when={book()} fallback={<p class="waiting">Opening the book…</p>}>
        {(b) => (
          <Switch>
            <Match when={b().phone}>
              <DayPage book={b()} />
            </Match>
            <Match when={here().page === 'wall'}>
              <WallPage book={b()} />
            </Match>
            <Match when={here().page === 'sheet'}>
              <SheetPage book={b()} id={(here() as { id: string }).id} />
            </Match>
            <Match when={here().page === 'day'}>
              <DayPage book={b()} />
            </Match>
            <Match when={here().page === 'cut'}>
              <CutPage book={b()} />
            </Match>
            <Match when={here().page === 'ledger'}>
              <LedgerPage book={b()} />
            </Match>
          </Switch>
        )}
      </Show>
    </Show>
  );
}
