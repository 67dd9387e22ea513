/**
 * A pace played as it is drawn, before anything is rendered: plate and take side by side at the film's speed, of the
 * take the nearest frame. Pictures are kept while it plays, and it waits for one that is not there rather than pass it
 * over.
 */
import { createSignal, onCleanup } from 'solid-js';

interface PlayOf {
  /** Frames of the join, and how many of them a second. */
  readonly count: () => number;
  readonly framesPerSecond: () => number;
  /** Addresses of the pictures of one frame of the join, as the pace is drawn now. */
  readonly pictures: (frame: number) => readonly string[];
}

/** So many frames are asked for ahead of the one that is shown. */
const AHEAD = 4;

/** What plays it, for a component that stands for one pace. */
export type PacePlay = ReturnType<typeof createPacePlay>;

/** `shown`: the frame and its pictures; null where it does not play, or its first pictures are not there yet. */
export function createPacePlay(of: PlayOf) {
  const [shown, setShown] = createSignal<{ readonly frame: number; readonly urls: readonly string[] } | null>(null);
  const [running, setRunning] = createSignal(false);
  const [error, setError] = createSignal<string | null>(null);
  const kept = new Map<string, Promise<string>>();
  // Each run has its own number: one that was stopped while it waited goes no further.
  let run = 0;
  const picture = (address: string): Promise<string> => {
    const there = kept.get(address);
    if (there !== undefined) return there;
    const asked = fetch(address).then(async (r) => {
      if (!r.ok) throw new Error(`a picture could not be made (${r.status})`);
      return URL.createObjectURL(await r.blob());
    });
    kept.set(address, asked);
    return asked;
  };
  const stop = (): void => {
    run++;
    setRunning(false);
    setShown(null);
    for (const asked of kept.values())
      void asked.then(
        (url) => URL.revokeObjectURL(url),
        () => undefined,
      );
    kept.clear();
  };
  const play = async (): Promise<void> => {
    stop();
    const mine = run;
    setRunning(true);
    setError(null);
    try {
      for (let n = 0; mine === run; n = (n + 1) % of.count()) {
        const due = performance.now() + 1000 / of.framesPerSecond();
        for (let k = 1; k <= AHEAD; k++)
          for (const address of of.pictures((n + k) % of.count())) void picture(address).catch(() => undefined);
        const urls = await Promise.all(of.pictures(n).map(picture));
        if (mine !== run) return;
        setShown({ frame: n, urls });
        await new Promise((done) => setTimeout(done, Math.max(0, due - performance.now())));
      }
    } catch (e) {
      if (mine !== run) return;
      stop();
      setError(e instanceof Error ? e.message : String(e));
    }
  };
  onCleanup(stop);
  return { shown, running, error, play: () => void play(), stop };
}
