/**
 * The floor card's layout, one for A4 and Letter: fiducials of known size, a code that names pick and production, grey
 * and colour patches, a spot for a peg of known height (or for a table-tennis ball). Millimetres from the card's
 * middle, x to the right, y down the page. Fiducial bits: ids 0 to 3 of OpenCV's open 4 × 4 dictionary (DICT_4X4_50),
 * checked in the tests against the library itself.
 */
export const CARD_WIDTH_MM = 180;
/** Of the printed page. */
export const CARD_HEIGHT_MM = 250;
/**
 * As large as the page allows: seen aslant from three metres a cell is a few pixels. A white border stays about each.
 */
export const MARKER_MM = 60;
/** Height of the peg that throws the shadow, and breadth of the ball that may stand in its place. */
export const PEG_HEIGHT_MM = 60;
export const BALL_DIAMETER_MM = 40;
/** Where the peg or the ball goes, and the white disc that stays free about it. */
export const PEG_SPOT: readonly [number, number] = [0, 0];
export const PEG_CLEAR_RADIUS_MM = 40;

/** Rows of four bits, 1 = white, inside a one-cell black border. */
export const MARKER_BITS: readonly (readonly string[])[] = [
  ['1011', '0101', '0011', '0010'],
  ['0000', '1111', '1001', '1010'],
  ['0011', '0011', '0010', '1101'],
  ['1001', '1001', '0100', '0110'],
];

/** Centres of the four fiducials by id. */
export const MARKER_CENTRES: readonly (readonly [number, number])[] = [
  [-52, -87],
  [52, -87],
  [-52, 87],
  [52, 87],
];

/** Corners of a fiducial: top left, top right, bottom right, bottom left. */
export function markerCorners(id: number): readonly (readonly [number, number])[] {
  const [x, y] = MARKER_CENTRES[id]!;
  const h = MARKER_MM / 2;
  return [
    [x - h, y - h],
    [x + h, y - h],
    [x + h, y + h],
    [x - h, y + h],
  ];
}

/** A printed patch of known grey or colour; place and size in millimetres on the card. */
export interface Patch {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  /** Intended reflectance per channel, 0..1 linear; print and paper vary, greys are used against each other. */
  readonly linear: readonly [number, number, number];
  readonly name: string;
}

/** Six greys from white to black, then four colours, two abreast between the lower fiducials. */
export const PATCHES: readonly Patch[] = [
  ...[0.9, 0.59, 0.36, 0.198, 0.09, 0.031].map((v, i) => ({
    x: -18 + (i % 2) * 18,
    y: 59 + Math.floor(i / 2) * 11,
    width: 18,
    height: 11,
    linear: [v, v, v] as const,
    name: `grey ${Math.round(v * 100)} %`,
  })),
  { x: -18, y: 92, width: 18, height: 11, linear: [0.45, 0.05, 0.05], name: 'red' },
  { x: 0, y: 92, width: 18, height: 11, linear: [0.08, 0.3, 0.08], name: 'green' },
  { x: -18, y: 103, width: 18, height: 11, linear: [0.04, 0.05, 0.35], name: 'blue' },
  { x: 0, y: 103, width: 18, height: 11, linear: [0.72, 0.45, 0.34], name: 'skin' },
];

/** Top left corner and side of the code, millimetres. */
export const CODE_SPOT = { x: -19, y: -116, size: 38 } as const;

/** Text in the code: what a reader of any QR code sees. */
export function cardCode(production: string, pick: string): string {
  return `PLATEWRIGHT1|${production.slice(0, 60)}|${pick.slice(0, 60)}`;
}

/**
 * Reflectance of the printed card at a point (mm), 1 for paper; null where print is text, code or patches and not
 * predicted.
 */
export function cardReflectance(xMm: number, yMm: number): number | null {
  for (let id = 0; id < MARKER_CENTRES.length; id++) {
    const [cx, cy] = MARKER_CENTRES[id]!;
    const u = (xMm - cx) / MARKER_MM + 0.5;
    const v = (yMm - cy) / MARKER_MM + 0.5;
    if (u < 0 || v < 0 || u >= 1 || v >= 1) continue;
    const i = Math.floor(u * 6);
    const j = Math.floor(v * 6);
    if (i === 0 || j === 0 || i === 5 || j === 5) return 0.04;
    return MARKER_BITS[id]![j - 1]![i - 1] === '1' ? 1 : 0.04;
  }
  if (Math.abs(xMm) > CARD_WIDTH_MM / 2 || Math.abs(yMm) > CARD_HEIGHT_MM / 2) return null;
  if (Math.abs(yMm) > 44 && Math.abs(xMm) < 22) return null;
  return 1;
}

/**
 * What a square millimetre of the card shows: paper, ink of a fiducial, print that is not predicted, or what lies round
 * the card.
 */
export const CARD_CLASS = { paper: 0, ink: 1, outside: 2, unknown: 3 } as const;
/** Half the page that {@link cardClassMap} covers, whole millimetres beyond which all is `outside`. */
export const CLASS_HALF_WIDTH_MM = 91;
export const CLASS_HALF_HEIGHT_MM = 126;
/** Whatever stands on the spot hides this much of the card. */
const SPOT_RADIUS_MM = 12;

/**
 * The card in whole millimetres, row by row from (−91, −126): every printed edge lies on a whole millimetre, so nothing
 * is lost. The map is 182 × 252 and its rim is `outside`.
 */
export function cardClassMap(): Uint8Array {
  const w = 2 * CLASS_HALF_WIDTH_MM;
  const h = 2 * CLASS_HALF_HEIGHT_MM;
  const map = new Uint8Array(w * h);
  for (let j = 0; j < h; j++)
    for (let i = 0; i < w; i++) {
      const x = i + 0.5 - CLASS_HALF_WIDTH_MM;
      const y = j + 0.5 - CLASS_HALF_HEIGHT_MM;
      let c: number = CARD_CLASS.paper;
      if (Math.abs(x) > CARD_WIDTH_MM / 2 || Math.abs(y) > CARD_HEIGHT_MM / 2) c = CARD_CLASS.outside;
      else {
        const r = cardReflectance(x, y);
        if (r !== null)
          c =
            r < 0.5
              ? CARD_CLASS.ink
              : Math.hypot(x - PEG_SPOT[0], y - PEG_SPOT[1]) < SPOT_RADIUS_MM
                ? CARD_CLASS.unknown
                : CARD_CLASS.paper;
        else if (inCodeOrPatch(x, y)) c = CARD_CLASS.unknown;
      }
      map[j * w + i] = c;
    }
  return map;
}

/** True on the code and the patches (the code's own quiet border is paper). */
function inCodeOrPatch(x: number, y: number): boolean {
  if (x >= CODE_SPOT.x && x < CODE_SPOT.x + CODE_SPOT.size && y >= CODE_SPOT.y && y < CODE_SPOT.y + CODE_SPOT.size)
    return true;
  return PATCHES.some((p) => x >= p.x && x < p.x + p.width && y >= p.y && y < p.y + p.height);
}
