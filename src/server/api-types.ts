/**
 * What the workbench and the server say to each other. The browser imports these types
 * only; nothing here may pull in code.
 *
 * Server-sent events on GET /api/events: `pulse` (data: the book's pulse; fetch the book anew
 * when it differs) and `jobs` (data: JobRecord[]).
 *
 * Pictures: GET /api/frame/:what/:id/:n?w=WIDTH where what is film | plate | take | join | matte and n a frame number
 * (join and plate count from the pick's first frame); JPEG. GET /api/pixel/:what/:id/:n?x=&y= gives coded and linear
 * RGB as JSON. GET /api/preview/:pick/:n?step=NAME&view=alone|before|after&off=a,b&w=&set=step.number:value,…&soon=1
 * renders one frame of the join's recipe as it stands, with numbers tried out (JPEG); soon: while a hand moves.
 * GET /api/grain/:pick/:n answers the plate's grain beside grown grain: {picture (a data address), at, sd}.
 * GET /api/propose-marks/:what/:id/:n answers {proposals}: marks that the program would put there, for a person to
 * accept. GET /api/clip/:what/:id.mp4 is a web-playable clip (film, plate, take, join, quick) with range requests.
 * Files: GET /api/file/card.pdf?pick=&paper=a4|letter, /api/file/call-sheet.pdf, /api/file/sun.ics?pick=,
 * /api/file/cue.wav?pick=. Uploads: POST /api/takes?pick=ID&name=NAME with the media as the body. Answers {id}.
 * POST /api/pair {code}, from the local network: pairs a phone (phone-door.ts).
 * POST /api/undo, POST /api/redo answer {edit}. POST /api/jobs/:id/stop and /resume.
 * Every failure has an HTTP status by its kind and {error: {code, message}} as its body.
 */
import type {
  CutDocument,
  FilmDocument,
  JoinDocument,
  MomentDocument,
  PickDocument,
  ProductionDocument,
  TakeDocument,
} from '../book/documents.js';
import type { Settings } from '../book/settings.js';
import type { StudioRow } from '../book/studio.js';
import type { Brief } from '../brief/types.js';
import type { EditRecord } from '../book/edit-history.js';
import type { JobRecord } from '../jobs/job-store.js';
import type { Stale } from '../jobs/stale.js';
import type { PlateMeasures } from '../plate/types.js';

/** GET /api/book: everything the pages show, apart from frames. */
export interface BookState {
  readonly pulse: string;
  readonly production: ProductionDocument;
  readonly films: readonly FilmDocument[];
  readonly picks: readonly PickDocument[];
  readonly takes: readonly TakeDocument[];
  readonly joins: readonly JoinDocument[];
  readonly moments: readonly MomentDocument[];
  readonly cut: CutDocument | null;
  /** By pick id. */
  readonly measures: Readonly<Record<string, PlateMeasures>>;
  readonly briefs: Readonly<Record<string, Brief>>;
  readonly day: unknown;
  /** Take id → stamp of its quick join (GET /api/clip/quick/:take.mp4), where one was made. */
  readonly quick: Readonly<Record<string, string>>;
  readonly deliveries: readonly {
    readonly id: string;
    readonly at: string;
    readonly files: readonly string[];
    readonly report: unknown;
  }[];
  /**
   * Tolerances and attention as they hold, beside the program's own. POST /api/settings
   * {name, numbers | null} changes one.
   */
  readonly settings: Settings;
  /** Performer, camera, place, as lines. POST /api/studio {name, text} changes one. */
  readonly studio: readonly StudioRow[];
  /** What was made from something that has changed since. */
  readonly stale: Stale;
  /** Ids of films and takes whose files are not where the book has them; and whether the cut's music is not. */
  readonly missing: { readonly films: readonly string[]; readonly takes: readonly string[]; readonly music?: true };
  readonly ledger: LedgerState;
  readonly history: readonly EditRecord[];
  readonly jobs: readonly JobRecord[];
  /** Set where the asker is a paired phone: what is not the shoot day's is left out. */
  readonly phone?: true;
}

/**
 * GET /api/phone, at the computer only: how a phone comes in; null where `--lan` was not given. POST
 * /api/phone/code and /api/phone/forget answer the same.
 */
export interface PhoneInvitation {
  readonly address: string;
  readonly code: string;
  /** Unix milliseconds. */
  readonly until: number;
  readonly phones: number;
  /** SHA-256 of the certificate. */
  readonly fingerprint: string;
  /** The address with its code, to be scanned. */
  readonly svg: string;
}

/** Ledger: what was borrowed and spent. Filled by the cut stage's ledger. */
export interface LedgerState {
  readonly spent: readonly {
    readonly id: string;
    readonly date: string;
    readonly what: string;
    readonly minutes: number;
    readonly money: number;
    readonly currency: string;
  }[];
  readonly purposes: readonly { readonly id: string; readonly text: string }[];
  readonly borrowed: unknown;
}

/**
 * POST /api/edit: one undoable edit. `change` replaces the named fields of a document and
 * leaves the others as the book has them by then.
 */
export interface EditRequest {
  readonly title: string;
  readonly changes: readonly (
    | { readonly do: 'put'; readonly kind: string; readonly document: unknown }
    | { readonly do: 'change'; readonly kind: string; readonly id: string; readonly fields: unknown }
    | { readonly do: 'remove'; readonly kind: string; readonly id: string }
  )[];
}
