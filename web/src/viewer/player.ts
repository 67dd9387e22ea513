/** The frame that is shown: stepping, playing at a multiple of the film's speed, and pictures fetched ahead. */
import { createEffect, createSignal, on, onCleanup } from 'solid-js';
import { frameUrl } from '../api.js';
import type { Facts } from './facts.js';
import type { ViewerRequest } from './state.js';

/** Begins on the frame that was asked for, within the clip; stops when the viewer goes. */
export function usePlayer(v: ViewerRequest, facts: Facts) {
  /** The frame that was asked for, and the one whose picture is there. */
  const [frame, setFrame] = createSignal(Math.min(facts().last, Math.max(facts().first, v.start)));
  const [shown, setShown] = createSignal(frame());
  /** Times the film's own speed; negative plays back. */
  const [speed, setSpeed] = createSignal(0);
  const go = (n: number): void => {
    setFrame(Math.min(facts().last, Math.max(facts().first, Math.round(n))));
  };
  const url = (n: number): string => frameUrl(v.what, v.id, n, undefined, v.version ?? '');

  // A frame is shown when its picture is there, so that stepping never flashes; the neighbours are fetched ahead.
  createEffect(
    on(frame, (n) => {
      const image = new Image();
      image.onload = () => {
        if (frame() === n) setShown(n);
      };
      image.onerror = () => {
        if (frame() === n) setShown(n);
      };
      image.src = url(n);
      for (const k of [n + 1, n - 1, n + 2]) if (k >= facts().first && k <= facts().last) new Image().src = url(k);
    }),
  );

  let timer: ReturnType<typeof setInterval> | undefined;
  createEffect(
    on(speed, (s) => {
      clearInterval(timer);
      if (s === 0) return;
      timer = setInterval(
        () => {
          // Wait for the picture: better slow than skipping.
          if (shown() !== frame()) return;
          const next = frame() + Math.sign(s);
          go(next > facts().last ? facts().first : next < facts().first ? facts().last : next);
        },
        1000 / (facts().fps * Math.abs(s)),
      );
    }),
  );
  onCleanup(() => clearInterval(timer));

  /** Stops, and goes to a frame. */
  const stopAt = (n: number): void => {
    setSpeed(0);
    go(n);
  };
  return { frame, shown, speed, setSpeed, go, stopAt, url };
}

/** What the viewer's parts share about the frame that is shown. */
export type Player = ReturnType<typeof usePlayer>;
