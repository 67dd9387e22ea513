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

/** Opens the viewer, or shows something else in it. */
export function openViewer(request: ViewerRequest): void {
  setViewer(request);
}

/** Closes the viewer; the page below is where it was. */
export function closeViewer(): void {
  setViewer(null);
}
