/**
 * Where a carried performer sits. A person outlines what the performer rides on, and points at the performer's foot and
 * top as anywhere else: on one frame both are one thing, a carry mark that says its ground and top. Left apart, the
 * stand mark would put the performer on the ground, and the outline would carry nothing.
 */
import type { Mark, MarksFile } from './marks.js';

type Carry = Extract<Mark, { kind: 'carry' }>;
type Stand = Extract<Mark, { kind: 'stand' }>;

/**
 * Is the performer carried? Whoever outlined a carrier wants it carried over the whole shot, on whichever frames its
 * place on it was marked.
 */
export function isCarried({ marks }: { readonly marks: readonly Mark[] }): boolean {
  return marks.some((m) => m.kind === 'carry');
}

/**
 * Does this stand mark point at ground? One of a carried performer says where it sits on its carrier, high over the
 * ground: taken for a thing on the ground it would tilt the solved view.
 */
export function standsOnGround(mark: Mark, file: { readonly marks: readonly Mark[] }): mark is Stand {
  return mark.kind === 'stand' && !isCarried(file);
}

/** The carry mark with what the stand mark says of the performer's place and height. */
function seated(carry: Carry, stand: Stand): Carry {
  const height = stand.height ?? carry.height;
  return { ...carry, ground: stand.ground, top: stand.top, ...(height === undefined ? {} : { height }) };
}

/**
 * The marks with every stand mark taken into the carry mark of its frame, where that says no ground and top of its own.
 * Stand marks on other frames stay, and say where it sits there (`isCarried`). The same object where nothing is to be
 * changed.
 */
export function withSeats(file: MarksFile): MarksFile {
  const frameOf = (m: Mark): number => ('frame' in m ? m.frame : undefined) ?? file.frame;
  const stands = new Map<number, Stand>();
  for (const m of file.marks) if (m.kind === 'stand') stands.set(frameOf(m), m);
  const taken = new Set<Mark>();
  const marks = file.marks.map((m) => {
    const stand = m.kind === 'carry' ? stands.get(frameOf(m)) : undefined;
    if (stand === undefined || m.kind !== 'carry' || m.ground !== undefined || m.top !== undefined) return m;
    taken.add(stand);
    return seated(m, stand);
  });
  return taken.size === 0 ? file : { ...file, marks: marks.filter((m) => !taken.has(m)) };
}
