/**
 * Marks of the pick or take that is shown: the tool in hand, the points it has, the
 * chosen mark, and each change as one edit.
 */
import { createSignal } from 'solid-js';
import type { Mark, MarksFile } from '../../../src/plate/marks/marks.js';
import { withMark } from '../../../src/plate/one-a-frame.js';
import { edit } from '../api.js';
import { samePlace } from '../same-place.js';
import type { Facts } from './facts.js';
import { withHandle, type P } from './mark-shapes.js';
import { TOOLS, type MarkTool } from './mark-tools.js';
import type { ViewerRequest } from './state.js';

/** The marks of the pick or take that is shown, and how they are changed: one edit a change. */
function useMarksFile(facts: Facts) {
  const marksFile = (): MarksFile => facts().pick?.marks ?? facts().take?.marks ?? { frame: 0, marks: [] };
  const save = (title: string, change: (marks: readonly Mark[]) => readonly Mark[]): Promise<unknown> =>
    edit(title, () => {
      const f = facts();
      const kind = f.pick !== undefined ? 'pick' : 'take';
      const id = f.pick?.id ?? f.take?.id;
      return id === undefined
        ? null
        : [{ do: 'change', kind, id, fields: { marks: { ...marksFile(), marks: change(marksFile().marks) } } }];
    });
  /**
   * Changes one mark, or takes it out (null). It is meant as it is shown: one that went or came meanwhile must not have
   * another changed in its place.
   */
  const saveOne = (title: string, i: number, change: (mark: Mark) => Mark | null): Promise<unknown> => {
    const seen = marksFile().marks;
    return save(title, (marks) => {
      const at = samePlace(seen, i, marks);
      return marks.flatMap((m, k) => (k === at ? (change(m) ?? []) : [m]));
    });
  };
  return { marksFile, save, saveOne };
}

/**
 * A performer's outlines tell of their own frame alone: those of others would lie across the picture as so many more
 * performers.
 */
function isOutline(m: Mark): boolean {
  return (m.kind === 'body' && m.polygon !== undefined) || m.kind === 'about' || m.kind === 'touch';
}

/** The tool in hand, the points that its mark has so far, and the number (a height, an angle) given with it. */
function useToolInHand(first: string | undefined) {
  const [tool, setTool] = createSignal<MarkTool | null>(TOOLS.find((t) => t.kind === first) ?? null);
  const [points, setPoints] = createSignal<readonly P[]>([]);
  const [number, setNumber] = createSignal('');
  /** Whether the tool in hand has put a mark: the number asked for is the next one's then. */
  const [put, setPut] = createSignal(false);
  /** Another tool, or none; what was begun with the last one is dropped. */
  const take = (t: MarkTool | null): void => {
    setTool(t);
    setPoints([]);
    setNumber('');
    setPut(false);
  };
  return { tool, setTool, take, points, setPoints, number, setNumber, put, setPut };
}

/** A point of a mark, by the places of both, and where the hand has it. */
interface Dragged {
  readonly mark: number;
  readonly handle: number;
  readonly point: P;
}

/** The point that a hand moves: its mark is drawn with it there, and is changed in the book once it is let go. */
function useDragging(marksFile: () => MarksFile, saveOne: ReturnType<typeof useMarksFile>['saveOne']) {
  const [drag, setDrag] = createSignal<Dragged | null>(null);
  /** A point that was let go stays under the hand until the book has it there. */
  const [dropped, setDropped] = createSignal<Dragged | null>(null);
  const drop = (d: Dragged): void => {
    setDropped(d);
    void saveOne(`move mark ${marksFile().marks[d.mark]?.kind ?? ''}`, d.mark, (m) =>
      withHandle(m, d.handle, d.point),
    ).then(() => {
      if (dropped() === d) setDropped(null);
    });
  };
  /** Mark `i` as it is drawn just now. */
  const live = (m: Mark, i: number): Mark => {
    const d = drag() ?? dropped();
    return d !== null && d.mark === i ? withHandle(m, d.handle, d.point) : m;
  };
  return { drag, setDrag, drop, live };
}

/** @param frame the frame in view, on which a new mark is put */
export function useMarking(v: ViewerRequest, facts: Facts, frame: () => number) {
  const { marksFile, save, saveOne } = useMarksFile(facts);
  const ownFrameOnly = (m: Mark): boolean => v.what === 'take' && isOutline(m);
  const canMark = () => v.what === 'plate' || v.what === 'take';
  const { tool, setTool, take, points, setPoints, number, setNumber, put, setPut } = useToolInHand(v.tool);
  const [chosen, setChosen] = createSignal<number | null>(null);
  const { drag, setDrag, drop, live } = useDragging(marksFile, saveOne);

  /**
   * One mark more, or the correction of one; it is the chosen one then, so that its numbers can be given at once. Where
   * a carried performer sits goes into the mark of what carries it.
   */
  const add = (title: string, mark: Mark, inPlaceOf: (m: Mark) => boolean = () => false): void => {
    // Until it is in the book no other is the chosen one: a key pressed now is not meant for that.
    setChosen(null);
    void save(title, (all) => {
      const { marks } = withMark({ ...marksFile(), marks: all.filter((m) => !inPlaceOf(m)) }, mark);
      const before = new Set(all);
      setChosen(marks.findLastIndex((m) => !before.has(m)));
      return marks;
    });
  };
  const chosenMark = (): Mark | undefined => (chosen() === null ? undefined : marksFile().marks[chosen()!]);
  const finish = (t: MarkTool, list: readonly P[]): void => {
    const n = number().trim() === '' ? undefined : Number(number().replace(',', '.'));
    const made = t.make(list, frame(), Number.isFinite(n) ? n : undefined);
    add(`mark ${t.label}`, made);
    setPoints([]);
    // The next one has a height of its own.
    setNumber('');
    setPut(true);
  };
  const place = (t: MarkTool, p: P): void => {
    if (t.points === 0) {
      finish(t, []);
      return;
    }
    const list = [...points(), p];
    if (t.points !== null && list.length === t.points) finish(t, list);
    else setPoints(list);
  };
  function removeChosen(): void {
    const i = chosen();
    if (i === null) return;
    void saveOne(`remove mark ${marksFile().marks[i]?.kind ?? ''}`, i, () => null);
    setChosen(null);
  }
  return {
    marksFile,
    ownFrameOnly,
    canMark,
    tool,
    setTool,
    take,
    points,
    setPoints,
    number,
    setNumber,
    put,
    chosen,
    setChosen,
    chosenMark,
    drag,
    setDrag,
    drop,
    live,
    add,
    saveOne,
    finish,
    place,
    removeChosen,
  };
}

/** What the viewer's parts share about marks. */
export type Marking = ReturnType<typeof useMarking>;
