/**
 * A lens's focal length between millimetres and a take's pixels, by the part of the
 * sensor that the studio's video uses.
 */
interface Sensor {
  readonly sensorWidthMm: number;
}
interface Size {
  readonly widthPx: number;
  readonly heightPx: number;
}

/**
 * Pixels a millimetre of sensor: the sensor's width lies along the longer side, also where the phone was held upright.
 */
const pxPerMm = (sensor: Sensor, size: Size): number => Math.max(size.widthPx, size.heightPx) / sensor.sensorWidthMm;

/** Focal length in pixels of a picture of this size, from millimetres. */
export function focalPx(mm: number, sensor: Sensor, size: Size): number {
  return mm * pxPerMm(sensor, size);
}
/** Focal length in millimetres, from pixels of a picture of this size. */
export function focalMm(px: number, sensor: Sensor, size: Size): number {
  return px / pxPerMm(sensor, size);
}
