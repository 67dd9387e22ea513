/** The hand on the picture: reading a pixel, putting points, dragging those of marks; by keyboard a crosshair. */
import { createSignal } from 'solid-js';
import { readPixel } from '../api.js';
import { Newest } from '../newest.js';
import type { Facts } from './facts.js';
import { handles, type P } from './mark-shapes.js';
import type { Marking } from './marking.js';
import type { ViewerRequest } from './state.js';

/** Coded and linear values of the pixel that was clicked last, in words. */
function usePixelReading(v: ViewerRequest, frame: () => number) {
  const [pixel, setPixel] = createSignal<string>('');
  const answers = new Newest();
  const read = (p: P): void => {
    const question = answers.ask();
    // Answers may overtake each other: the pixel that was clicked last is told.
    const tell = (words: string): void => {
      if (answers.takes(question)) setPixel(words);
    };
    void readPixel(v.what, v.id, frame(), p[0], p[1]).then(
      (x) =>
        tell(
          `${Math.floor(p[0])}, ${Math.floor(p[1])}: ` +
            `${x.coded.map((c) => Math.round(c * 255)).join(' ')} of 255 · ` +
            `linear ${x.linear.map((c) => c.toFixed(3)).join(' ')}`,
        ),
      () => tell(''),
    );
  };
  return { pixel, read };
}

/** By keyboard: while a tool is chosen the arrows move a crosshair, the space bar (or Enter) puts a point there. */
function useCrosshair(facts: Facts, onPlace: (p: P) => void) {
  const [cross, setCross] = createSignal<P | null>(null);
  const steer = (dx: number, dy: number): void => {
    const f = facts();
    const was = cross();
    // The first press shows it in the middle of the picture.
    const next: P =
      was === null
        ? [f.width / 2, f.height / 2]
        : [Math.min(f.width, Math.max(0, was[0] + dx)), Math.min(f.height, Math.max(0, was[1] + dy))];
    setCross(next);
    onPlace(next);
  };
  return { cross, steer };
}

/** A place to a tenth of a pixel, as marks are kept. */
const round = (p: P): P => [Math.round(p[0] * 10) / 10, Math.round(p[1] * 10) / 10];

/** Where an event is in a picture of this size that is shown in the rectangle `r`, px. */
function placeOf(e: MouseEvent, r: DOMRect, size: { readonly width: number; readonly height: number }): P {
  return [((e.clientX - r.left) / r.width) * size.width, ((e.clientY - r.top) / r.height) * size.height];
}

/** @param glass the drawing over the picture, there when an event comes */
export function usePointing(
  v: ViewerRequest,
  facts: Facts,
  frame: () => number,
  marking: Marking,
  glass: () => SVGSVGElement,
) {
  const { drag, setDrag, drop, marksFile, place, setChosen, tool } = marking;
  const { pixel, read } = usePixelReading(v, frame);
  const [at, setAt] = createSignal<P | null>(null);
  const toPicture = (e: MouseEvent): P => placeOf(e, glass().getBoundingClientRect(), facts());
  const onClick = (e: MouseEvent): void => {
    const t = tool();
    const p = round(toPicture(e));
    if (t === null) {
      read(p);
      return;
    }
    if (dropped) {
      dropped = false;
      return;
    }
    place(t, p);
  };
  /**
   * Beside the picture: points of what its edge cuts, no farther off than a marks file may say. No pixel is there to be
   * read.
   */
  const onBeside = (e: MouseEvent): void => {
    const t = tool();
    if (t === null) return;
    const within = (v: number, size: number): number => Math.min(2 * size, Math.max(-size, v));
    const [x, y] = round(toPicture(e));
    place(t, [within(x, facts().width), within(y, facts().height)]);
  };
  const { cross, steer } = useCrosshair(facts, setAt);
  const onMove = (e: PointerEvent): void => {
    setAt(toPicture(e));
    const d = drag();
    if (d !== null) setDrag({ ...d, point: round(toPicture(e)) });
  };
  /** A grabbed point was let go where it was: the click that follows is of that. */
  let dropped = false;
  let grabbed: P = [0, 0];
  const onUp = (e: PointerEvent): void => {
    const d = drag();
    if (d === null) return;
    setDrag(null);
    const m = marksFile().marks[d.mark];
    const from = m === undefined ? undefined : handles(m)[d.handle];
    if (m === undefined || from === undefined) return;
    // A click that moved nothing is no drag: with a tool in hand it puts a point right
    // there, as where a shadow begins at a foot.
    if (Math.hypot(e.clientX - grabbed[0], e.clientY - grabbed[1]) < 3) {
      dropped = true;
      setTimeout(() => {
        dropped = false;
      });
      const t = tool();
      if (t !== null) place(t, round(from));
      return;
    }
    drop(d);
  };
  /** A handle of a mark is taken hold of. */
  const grab = (mark: number, handle: number, e: PointerEvent, point: P): void => {
    e.stopPropagation();
    e.preventDefault();
    glass().setPointerCapture(e.pointerId);
    setChosen(mark);
    grabbed = [e.clientX, e.clientY];
    setDrag({ mark, handle, point });
  };
  const onDown = (): void => {
    dropped = false;
  };
  return { pixel, at, setAt, cross, steer, round, onClick, onBeside, onDown, onMove, onUp, grab };
}

/** What the viewer's parts share about the hand on the picture. */
export type Pointing = ReturnType<typeof usePointing>;
