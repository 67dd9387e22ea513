/** Size, rate and frame count of what the viewer shows, from the book. */
import { createMemo } from 'solid-js';
import { book } from '../api.js';
import type { ViewerRequest } from './state.js';

/** Followed while the book changes. Without a video (a film that is gone): 16 × 9 at 24. */
export function useFacts(v: ViewerRequest) {
  return createMemo(() => {
    const b = book();
    const film = v.what === 'film' ? b?.films.find((f) => f.id === v.id) : undefined;
    const pick = v.what === 'plate' || v.what === 'join' ? b?.picks.find((p) => p.id === v.id) : undefined;
    const take = v.what === 'take' ? b?.takes.find((t) => t.id === v.id) : undefined;
    const pickFilm = pick === undefined ? undefined : b?.films.find((f) => f.id === pick.film);
    const video = film?.info.video ?? take?.info.video ?? pickFilm?.info.video ?? null;
    const render = v.what === 'join' ? b?.joins.find((j) => j.id === v.id)?.render : undefined;
    const first = v.in ?? 0;
    const last = (v.out ?? render?.frames ?? (pick !== undefined ? pick.out - pick.in : (video?.frameCount ?? 1))) - 1;
    return {
      video,
      pick,
      take,
      first,
      last,
      width: video?.widthPx ?? 16,
      height: video?.heightPx ?? 9,
      fps: video === null ? 24 : video.rate.num / video.rate.den,
    };
  });
}

/** What the viewer's parts share about what is shown; sizes in px, `first` and `last` both inclusive. */
export type Facts = ReturnType<typeof useFacts>;
