/**
 * The browser's side of the service: the book as a signal kept fresh by server-sent
 * events, and the few calls that change it.
 */
import { createSignal } from 'solid-js';
import type { BookState, EditRequest, PhoneInvitation } from '../../src/server/api-types.js';
import type { ProposedMark } from '../../src/plate/marks/propose-marks.js';
import { EditQueue, type Changes } from './edit-queue.js';
import { Newest } from './newest.js';
import { shareUnchanged } from './share.js';
import { withChanges } from './with-changes.js';
import type { JobKind, JobRecord } from '../../src/jobs/job-store.js';

const [book, setBook] = createSignal<BookState | null>(null);
const [jobs, setJobs] = createSignal<readonly JobRecord[]>([]);
const [trouble, setTrouble] = createSignal<string | null>(null);
const [connected, setConnected] = createSignal(true);
/** This is a phone that the workbench does not know (any more). */
const [unpaired, setUnpaired] = createSignal(false);
export { book, jobs, trouble, connected, unpaired };

/** Puts away what went wrong last. */
export function clearTrouble(): void {
  setTrouble(null);
}

class Unpaired extends Error {}
const SILENT = 'the service does not answer';

/** How often this phone was paired: a refusal of what was asked for before the last time no longer holds. */
let pairings = 0;

async function call<T>(path: string, init?: RequestInit): Promise<T> {
  let response: Response;
  const pairing = pairings;
  try {
    response = await fetch(path, init);
  } catch {
    throw new Error(`${SILENT}; is "platewright serve" still running?`);
  }
  const body = (await response.json()) as T & { error?: { code: string; message: string } };
  if (body?.error?.code === 'PW-SERVER-UNPAIRED') {
    if (pairing === pairings) setUnpaired(true);
    throw new Unpaired(body.error.message);
  }
  if (!response.ok) throw new Error(body?.error?.message ?? `${response.status}`);
  return body;
}

/** Runs a change and shows what went wrong in the margin instead of losing it in the console. */
export async function attempt<T>(work: () => Promise<T>): Promise<T | null> {
  try {
    return await work();
  } catch (error) {
    // What to do about that has a page of its own (pair.tsx).
    if (!(error instanceof Unpaired)) setTrouble((error as Error).message);
    return null;
  }
}

const books = new Newest();
/**
 * Whether the event stream tells of jobs. Then it alone does, in their order: the book's answers may be older than what
 * it told, and a job that fails at once would stay unheard of.
 */
let streamTells = false;
/** Reads the book and its jobs from the service. Throws what the service refuses with. */
export async function refresh(): Promise<void> {
  const question = books.ask();
  const state = await call<BookState>('/api/book');
  // Answers may overtake each other: an older book never comes after a newer one.
  if (!books.takes(question)) return;
  setBook((last) => shareUnchanged(last, state));
  if (!streamTells) setJobs(state.jobs);
}

const json = (value: unknown): RequestInit => ({
  method: 'POST',
  headers: { 'content-type': 'application/json' },
  body: JSON.stringify(value),
});

/** Browsers send no more than 64 KB for a page that is closed. */
const MOST_AT_CLOSE = 60000;
/** Sends an edit so that it arrives though the page is closed meanwhile, where it is small enough for that. */
async function sendEdit(request: EditRequest): Promise<unknown> {
  const small = new Blob([JSON.stringify(request)]).size <= MOST_AT_CLOSE;
  return call('/api/edit', { ...json(request), keepalive: small });
}
const queue = new EditQueue({
  send: (request) =>
    attempt(async () => {
      await sendEdit(request);
      await refresh();
    }),
  lay: (changes) => setBook((b) => (b === null ? null : withChanges(b, changes))),
});
/** What a page holds back for a moment (a slider that still moves): kept before an undo and when the page is closed. */
export const holdBack = (keep: () => void) => queue.holdBack(keep);
/** One edit of the book; see `EditQueue.edit`. */
export function edit(title: string, changes: Changes | (() => Changes | null)): Promise<unknown> {
  return queue.edit(title, typeof changes === 'function' ? changes : () => changes);
}
/** Work on the book after the edits that were made before it; then the book is read. Null where it was refused. */
const after = (work: () => Promise<unknown>): Promise<void | null> =>
  queue.inTurn(() =>
    attempt(async () => {
      await work();
      await refresh();
    }),
  );
/** Sends a change that has an address of its own; `body` is made when its turn comes, as an edit's changes are. */
const change = (path: string, body: () => unknown): Promise<void | null> => after(() => call(path, json(body())));
window.addEventListener('beforeunload', (e) => {
  queue.letGo();
  if (queue.waits(MOST_AT_CLOSE)) e.preventDefault();
});
window.addEventListener('pagehide', () => {
  const rest = queue.rest();
  if (rest !== null) void sendEdit(rest).catch(() => undefined);
});
/** Changes one of the book's tolerances; `numbers` is asked when its turn comes, null brings the program's own back. */
export const changeSetting = (name: string, numbers: () => readonly number[] | null) =>
  change('/api/settings', () => ({ name, numbers: numbers() }));
/** Changes one line of what briefs are written for, as a person would write it. */
export const changeStudio = (name: string, text: string) => change('/api/studio', () => ({ name, text }));
/** Takes back the last thing that the hand did, a slider moved a moment ago too. */
export const undo = () => {
  queue.letGo();
  return after(() => call('/api/undo', json({})));
};
/** Does again what was taken back last. */
export const redo = () => {
  queue.letGo();
  return after(() => call('/api/redo', json({})));
};
/**
 * Puts a job in the queue, after the edits that were made before it: it works with what the hand did last, a slider
 * moved a moment ago too. `subject`: id of the film, pick or take that it is about. Null where it was refused.
 */
export const startJob = (
  kind: JobKind,
  subject: string,
  spec: Record<string, unknown> = {},
): Promise<JobRecord | null> => {
  queue.letGo();
  return queue.inTurn(() =>
    attempt(async () => {
      const job = await call<JobRecord>('/api/jobs', json({ kind, subject, spec }));
      // Heard of at once, so that nobody asks for it again; what the event stream told of it since is newer.
      setJobs((list) => (list.some((j) => j.id === job.id) ? list : [job, ...list]));
      return job;
    }),
  );
};
/** Stops a job where it is; what it finished is kept. */
export const stopJob = (id: string) => attempt(() => call(`/api/jobs/${id}/stop`, json({})));
/** Goes on with a job that was stopped or failed. */
export const resumeJob = (id: string) => attempt(() => call(`/api/jobs/${id}/resume`, json({})));
/** Pairs this phone by the code on the computer's screen, then reads the book. */
export const pair = (code: string) =>
  attempt(async () => {
    await call('/api/pair', json({ code }));
    pairings++;
    setUnpaired(false);
    await refresh();
    listen();
    return true;
  });
/** The code and address for a phone; null where the service was not opened to the local network. Throws. */
export const phoneInvitation = () => call<PhoneInvitation | null>('/api/phone');
/** Another code; the last one no longer holds. */
export const newPhoneCode = () => attempt(() => call<PhoneInvitation>('/api/phone/code', json({})));
/** Phones that are paired must pair anew. */
export const forgetPhones = () => attempt(() => call<PhoneInvitation>('/api/phone/forget', json({})));
/** Says for which pick a take is; null: for none. */
export const assignTake = (id: string, pick: string | null) =>
  change(`/api/takes/${encodeURIComponent(id)}/pick`, () => ({ pick }));
/** Uses a take for another pick too. */
export const takeForToo = (id: string, pick: string) =>
  change(`/api/takes/${encodeURIComponent(id)}/also`, () => ({ pick }));
/** Turns how a take is shown and measured; `clockwise`: degrees, in quarters. */
export const turnTake = (id: string, clockwise: number) =>
  change(`/api/takes/${encodeURIComponent(id)}/turn`, () => ({ clockwise }));
/** Takes a take's file in anew, as it was changed since; its marks are kept or go. */
export const takeAgain = (id: string, keepMarks: boolean) =>
  change(`/api/takes/${encodeURIComponent(id)}/again`, () => ({ keepMarks }));
/** Why the last judging of a take came to nothing; null where it did not fail. */
export const whyUnjudged = (take: string): string | null => {
  const last = jobs().find((j) => j.kind === 'verdict' && j.subject === take);
  return last?.state === 'failed' ? last.error : null;
};
/** Takes a take out of the book; its file stays. */
export const removeTake = (id: string) => change(`/api/takes/${encodeURIComponent(id)}/remove`, () => ({}));
/** Takes a film out of the book; its file stays. */
export const removeFilm = (id: string) => change(`/api/films/${encodeURIComponent(id)}/remove`, () => ({}));
/** Marks that the program would put on frame `n` of a plate or take. */
export const proposeMarks = (what: string, id: string, n: number) =>
  // By the marks that there are: those put a moment ago too.
  queue.inTurn(() =>
    attempt(() => call<{ proposals: ProposedMark[] }>(`/api/propose-marks/${what}/${encodeURIComponent(id)}/${n}`)),
  );
/** The useful part of a take's screen, or why none is proposed. */
export const proposeScreen = (take: string) =>
  attempt(() => call<{ proposals: ProposedMark[]; why: string }>(`/api/propose-screen/${encodeURIComponent(take)}`));
/** The plate's grain beside the grain made from its measures, frame `n`: a picture, its place (px), sd of both. */
export const grainPair = (pick: string, n: number) =>
  attempt(() =>
    call<{ picture: string; at: [number, number]; sd: [number, number] }>(
      `/api/grain/${encodeURIComponent(pick)}/${n}`,
    ),
  );
/** A pixel's R'G'B' as coded and its linear light, both 0..1. Throws outside the picture. */
export const readPixel = (what: string, id: string, n: number, x: number, y: number) =>
  call<{ coded: number[]; linear: number[] }>(`/api/pixel/${what}/${id}/${n}?x=${Math.floor(x)}&y=${Math.floor(y)}`);

/**
 * Sends a take; `onShare` hears the share sent so far. `layer`: "new" for the first picture of
 * a drawing in layers, the take's id for its next.
 */
export function uploadTake(
  file: File,
  pick: string | null,
  onShare: (share: number) => void,
  layer?: string,
): Promise<{ id: string } | null> {
  return send(
    `/api/takes?${pick === null ? '' : `pick=${encodeURIComponent(pick)}&`}name=${encodeURIComponent(file.name)}` +
      (layer === undefined ? '' : `&layer=${encodeURIComponent(layer)}`),
    file,
    onShare,
  );
}

/** Sends a film; with `film` in place of the missing file of that film. */
export function uploadFilm(
  file: File,
  onShare: (share: number) => void,
  film?: string,
): Promise<{ id: string } | null> {
  return send(
    `/api/films?name=${encodeURIComponent(file.name)}${film === undefined ? '' : `&film=${encodeURIComponent(film)}`}`,
    file,
    onShare,
  );
}

function send(path: string, file: File, onShare: (share: number) => void): Promise<{ id: string } | null> {
  return attempt(
    () =>
      new Promise<{ id: string }>((done, fail) => {
        const request = new XMLHttpRequest();
        request.open('POST', path);
        request.upload.onprogress = (e) => {
          if (e.lengthComputable) onShare(e.loaded / e.total);
        };
        request.onload = () => {
          const body = JSON.parse(request.responseText) as { id: string; error?: { message: string } };
          if (request.status >= 300) fail(new Error(body.error?.message ?? `${request.status}`));
          else {
            void attempt(refresh);
            done(body);
          }
        };
        request.onerror = () => fail(new Error('the upload broke off; nothing was kept, send it again'));
        request.send(file);
      }),
  );
}

/** How long a stream that the service refused is left alone before it is asked for again, ms. */
const AGAIN_MS = 3000;
let events: EventSource | null = null;
/** Opens the event stream. The browser opens it again by itself when it breaks, and here where the service refused it. */
export function listen(): void {
  events?.close();
  const mine = (events = new EventSource('/api/events'));
  mine.addEventListener('open', () => {
    setConnected(true);
    if (trouble()?.startsWith(SILENT) === true) setTrouble(null);
  });
  mine.addEventListener('error', () => {
    setConnected(false);
    streamTells = false;
    if (mine.readyState === EventSource.CLOSED)
      setTimeout(() => {
        if (events !== mine || unpaired()) return;
        // The answer says whether this phone was sent away.
        void attempt(refresh).then(() => {
          if (events === mine && !unpaired()) listen();
        });
      }, AGAIN_MS);
  });
  // Told first of all when the stream opens, so that nothing is missed that happened while it was broken.
  mine.addEventListener('pulse', () => void attempt(refresh));
  mine.addEventListener('jobs', (e) => {
    const now = JSON.parse((e as MessageEvent<string>).data) as JobRecord[];
    const before = new Set(jobs().flatMap((j) => (j.state === 'done' ? [j.id] : [])));
    // A quick join changes no document, so no pulse tells of it.
    const ready = streamTells && now.some((j) => j.kind === 'quick' && j.state === 'done' && !before.has(j.id));
    streamTells = true;
    setJobs(now);
    if (ready) void attempt(refresh);
  });
}

/** Address of a frame's picture. `v` changes when a join is rendered anew. */
export function frameUrl(
  what: 'film' | 'plate' | 'take' | 'join' | 'matte',
  id: string,
  n: number,
  width?: number,
  v = '',
): string {
  return (
    `/api/frame/${what}/${encodeURIComponent(id)}/${Math.max(0, Math.round(n))}` +
    `?${width === undefined ? '' : `w=${width}&`}v=${encodeURIComponent(v)}`
  );
}
