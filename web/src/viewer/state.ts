/** What the large viewer shows. */
import { createSignal } from 'solid-js';
import type { Mark } from '../../../src/plate/marks/marks.js';

export type PictureKind = 'film' | 'plate' | 'take' | 'join';

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

export interface ViewerRequest extends ViewerSource {
  readonly start: number;
  readonly marking?: boolean;
  readonly overlays?: boolean;
  /** The kind of mark that is drawn first: its tool is in hand when the viewer opens. */
  readonly tool?: Mark['kind'];
}

const [viewer, setViewer] = createSignal<ViewerRequest | null>(null);
export { viewer };

export function openViewer(request: ViewerRequest): void {
  setViewer(request);
}

export function closeViewer(): void {
  setViewer(null);
}
