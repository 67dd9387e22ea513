/**
 * What the home shoot must do for one pick: targets with their numbers, and plain instructions that follow from them.
 */
import type { Measure } from '../core/measure.js';

/** A camera that the studio owns, as the brief needs it (structurally the book's studio camera). */
export interface ShootCamera {
  readonly name: string;
  readonly sensorWidthMm: number;
  readonly sensorHeightMm: number;
  readonly lensesMm: readonly (readonly [number, number])[];
  readonly videoWidthPx: number;
  readonly videoHeightPx: number;
  readonly rates: readonly string[];
}

/** Where the shoot is. */
export interface ShootPlace {
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly timeZone: string;
  /** Longest free line in the room, metres. */
  readonly roomLengthM: number;
  /** Compass headings that the camera may take in the yard, clockwise; null = any. */
  readonly yard: { readonly fromDeg: number; readonly toDeg: number } | null;
}

/** Where camera and performer stand for the take. */
export interface SetUp {
  /** Along the floor from the performer's mark to below the lens. */
  readonly distanceM: number;
  readonly cameraHeightM: number;
  /** Negative looks down. */
  readonly tiltDeg: number;
  readonly focalMm: number;
  readonly focalPx: number;
  readonly horizontalFovDeg: number;
  /** Elevation of the camera seen from the performer's middle: what the verdict checks. */
  readonly viewElevationDeg: number;
  /** Where the performer must stand higher than the floor (a table, an arm): metres above the room's floor. */
  readonly raiseM: number;
  readonly takePxPerPlatePx: number;
  readonly performerHeightShare: number;
  /** What to do where the room is too short, with what it costs. */
  readonly tooShort: {
    readonly neededM: number;
    readonly haveM: number;
    readonly advice: string;
    readonly perspectiveErrorPercent: number;
  } | null;
}

/** The screen that the set-up needs. */
export interface ScreenNeed {
  readonly widthM: number;
  readonly heightM: number;
  /** Gap behind the performer, against spill. */
  readonly behindM: number;
  /** Floor that must be covered before and behind the mark. */
  readonly floorM: number;
  readonly colour: 'green' | 'blue';
  readonly why: string;
}

/** Where the key lamp stands. */
export interface LampPlan {
  /** From the performer, relative to the line performer-to-camera; positive towards camera right. */
  readonly bearingDeg: number;
  readonly distanceM: number;
  readonly heightM: number;
  /** Diameter or side of the light's face, for the softness. */
  readonly sizeM: number;
  /** Null where the plate does not tell. */
  readonly fillStopsBelowKey: number | null;
  readonly temperatureK: number | null;
}

/** When the sun may be the key. */
export interface SunPlan {
  readonly windows: readonly {
    readonly date: string;
    readonly start: string;
    readonly end: string;
    readonly elevationDeg: readonly [number, number];
    readonly cameraHeadingDeg: readonly [number, number];
  }[];
  readonly reason: string | null;
}

/** How the performer, or what carries it, is turned. */
export interface TurnPlan {
  readonly startYawDeg: number;
  readonly endYawDeg: number;
  readonly peakDegPerSecond: number;
  readonly seconds: number;
  /** Yaw at each frame of the plate. */
  readonly yawDeg: readonly number[];
  readonly rate: string;
}

/** What to shoot for a plate: set-up, light, cue, and what to take care of. */
export interface Brief {
  readonly pick: string;
  readonly title: string;
  readonly performer: {
    readonly name: string;
    readonly heightM: number;
    readonly heightInPlateM: number;
    readonly scale: number;
  };
  readonly setUp: SetUp | null;
  readonly screen: ScreenNeed | null;
  readonly exposure: {
    readonly rate: string;
    readonly shutterDeg: number;
    readonly shutterSeconds: number;
    readonly why: string;
  };
  readonly light: {
    readonly azimuthDeg: Measure | null;
    readonly elevationDeg: Measure | null;
    readonly keyFillStops: Measure | null;
    readonly softnessDeg: Measure | null;
    readonly sun: SunPlan | null;
    readonly lamp: LampPlan | null;
    readonly overcast: boolean;
  };
  readonly turn: TurnPlan | null;
  readonly stir: string | null;
  readonly eyeline: { readonly bearingDeg: number; readonly heightM: number; readonly advice: string } | null;
  readonly length: { readonly seconds: number; readonly handlesSeconds: number; readonly tries: number };
  readonly reference: readonly string[];
  readonly instructions: readonly string[];
  /** What could not be stated, and which mark would make it so. */
  readonly missing: readonly string[];
  readonly cautions: readonly string[];
}
