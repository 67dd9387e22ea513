/** What the large viewer shows. */
import { createSignal } from 'solid-js';
import type { Mark } from '../../../src/plate/marks/marks.js';

/** What a picture is of; `plate` counts frames from the first of its pick, `film` from the first of the file. */
export type PictureKind = 'film' | 'plate' | 'take' | 'join';

/** One clip to look at, by its id in the book. */
export interface ViewerSource {
  readonly what: PictureKind;
  readonly id: string;
  readonly title: string;
  /** Changes when the picture behind the address was made anew. */
  readonly version?: string;
  /** Frames to stay within (a shot of a film). */
  readonly in?: number;
  readonly out?: number;
  /** Another picture to wipe or take the difference against. */
  readonly against?: { readonly what: PictureKind; readonly id: string; readonly title: string };
}

/** How the viewer opens: on which frame, and with which of its aids. */
export interface ViewerRequest extends ViewerSource {
  readonly start: number;
  readonly marking?: boolean;
  readonly overlays?: boolean;
  /** The kind of mark that is drawn first: its tool is in hand when the viewer opens. */
  readonly tool?: Mark['kind'];
}

const [viewer, setViewer] = createSignal<ViewerRequest | null>(null);
export { viewer };

/**
 * Opens the viewer, or shows something else in it. It has a place of its own in the browser's history, so that its back
 * button (on a phone: the way from the edge) closes it and leaves the page below where it is.
 */
export function openViewer(request: ViewerRequest): void {
  if (viewer() === null) history.pushState({ viewer: true }, '');
  setViewer(request);
}

/** Closes the viewer; the page below is where it was. */
export function closeViewer(): void {
  if (viewer() === null) return;
  setViewer(null);
  if (inViewer()) history.back();
}

/** Whether the browser's history stands on the viewer's own place. */
const inViewer = (): boolean => (history.state as { viewer?: boolean } | null)?.viewer === true;

// Back, or on to another page by its address: no viewer stays open over a page that it was not opened from.
window.addEventListener('popstate', () => {
  if (!inViewer()) setViewer(null);
});
