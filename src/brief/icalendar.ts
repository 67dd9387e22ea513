/**
 * iCalendar export (RFC 5545): one event a sun window. Lines are folded at 75 octets (section 3.1), text is escaped
 * (3.3.11), times are UTC (form 2 of 3.3.5) so that no zone definition is needed.
 */
export interface CalendarEvent {
  /** Stable identifier: the same window exported twice replaces itself. */
  readonly uid: string;
  readonly startMs: number;
  readonly endMs: number;
  readonly summary: string;
  readonly description: string;
  readonly location?: string;
}

function utc(timeMs: number): string {
  return new Date(timeMs)
    .toISOString()
    .replace(/[-:]/g, '')
    .replace(/\.\d{3}/, '');
}

function escapeText(text: string): string {
  return text.replace(/\\/g, '\\\\').replace(/;/g, '\\;').replace(/,/g, '\\,').replace(/\r?\n/g, '\\n');
}

/** Folds a content line so that no line exceeds 75 octets, never inside a UTF-8 character. */
function fold(line: string): string {
  const parts: string[] = [];
  let current = '';
  let octets = 0;
  for (const ch of line) {
    const n = Buffer.byteLength(ch);
    if (octets + n > (parts.length === 0 ? 75 : 74)) {
      parts.push(current);
      current = '';
      octets = 0;
    }
    current += ch;
    octets += n;
  }
  parts.push(current);
  return parts.join('\r\n ');
}

/** A VCALENDAR text. `stampMs` is written as DTSTAMP (RFC 5545 requires one); pass a fixed time for the same bytes. */
export function iCalendar(events: readonly CalendarEvent[], stampMs: number): string {
  const lines = ['BEGIN:VCALENDAR', 'VERSION:2.0', 'PRODID:-//Platewright//Sun windows//EN', 'CALSCALE:GREGORIAN'];
  for (const e of events) {
    lines.push(
      'BEGIN:VEVENT',
      `UID:${escapeText(e.uid)}`,
      `DTSTAMP:${utc(stampMs)}`,
      `DTSTART:${utc(e.startMs)}`,
      `DTEND:${utc(e.endMs)}`,
      `SUMMARY:${escapeText(e.summary)}`,
      `DESCRIPTION:${escapeText(e.description)}`,
    );
    if (e.location !== undefined) lines.push(`LOCATION:${escapeText(e.location)}`);
    lines.push('END:VEVENT');
  }
  lines.push('END:VCALENDAR');
  return lines.map(fold).join('\r\n') + '\r\n';
}
