// Distance and bearing on the ellipsoid, and coordinates in the forms that receivers and people use.

const A = 6378137, F = 1 / 298.257223563, E2 = F * (2 - F);  // WGS 84; GRS 80 differs by less than a millimetre here
const RADIAN = Math.PI / 180;

// Metres and degrees from true north, from one place to another: by the two radii of curvature at the middle latitude.
// Up to latitude 60° this is good to a millimetre over the 5 km that a crew walks, and to one part in 50,000 over 50 km.
export function wayFrom([latitude, longitude], [toLatitude, toLongitude]) {
  const middle = (latitude + toLatitude) / 2 * RADIAN, w = 1 - E2 * Math.pow(Math.sin(middle), 2);
  const north = (toLatitude - latitude) * RADIAN * A * (1 - E2) / Math.pow(w, 1.5);
  const turn = ((toLongitude - longitude + 540) % 360) - 180;  // the short way round
  const east = turn * RADIAN * A * Math.cos(middle) / Math.sqrt(w);
  const convergence = turn * Math.sin(middle) / 2;  // the bearing at the start, not at the middle
  const bearing = Math.atan2(east, north) / RADIAN - convergence;
  return { distance: Math.hypot(north, east), bearing: (bearing + 360) % 360 };
}

const WINDS = ["N", "NE", "E", "SE", "S", "SW", "W", "NW"];

export function bearingText(bearing) {
  return String(Math.round(bearing) % 360).padStart(3, "0") + "° (" + WINDS[Math.round(bearing / 45) % 8] + ")";
}

// -42.8522919 -> 42° 51′ 08.251″ S
export function degreesText(value, positive, negative) {
  const size = Math.round(Math.abs(value) * 3600 * 1000), seconds = size % 60000, minutes = Math.floor(size / 60000);
  const two = (n) => String(n).padStart(2, "0");
  return Math.floor(minutes / 60) + "° " + two(minutes % 60) + "′ " + (seconds / 1000).toFixed(3).padStart(6, "0") + "″ "
    + (value < 0 ? negative : positive);
}

export function inDegrees(latitude, longitude) {
  return degreesText(latitude, "N", "S") + ", " + degreesText(longitude, "E", "W");
}

// ---- positions as people type and paste them -------------------------------------------------------------------------

// The parts of one angle: degrees, and perhaps minutes and seconds, with the signs that keyboards and papers have.
function angleParts(n) {
  const number = (name) => "(?<" + name + n + ">\\d+(?:\\.\\d+)?)";
  const seconds = "(?:\\s*" + number("seconds") + "(?:\\s*(?:[\"″”s]|''))?)?";
  return number("degrees") + "(?:\\s*[°ºd](?:\\s*" + number("minutes") + "(?:\\s*['′’m]" + seconds + ")?)?)?";
}

// Latitude first, longitude second: with the letters of the winds behind, before, or with signs and a comma; two
// numbers with decimals need no comma. One letter alone, or a letter and a sign, leave open what is meant.
const FORMS = [
  angleParts(1) + "\\s*(?<north>[NS])[\\s,]*" + angleParts(2) + "\\s*(?<east>[EW])",
  "(?<north>[NS])\\s*" + angleParts(1) + "[\\s,]*(?<east>[EW])\\s*" + angleParts(2),
  "(?<north>[-+]?)" + angleParts(1) + "\\s*,\\s*(?<east>[-+]?)" + angleParts(2),
  "(?<north>-?)(?<degrees1>\\d+\\.\\d+)\\s+(?<east>-?)(?<degrees2>\\d+\\.\\d+)",
].map((form) => new RegExp("^" + form + "$", "i"));
const LONGEST = 100;  // letters: no position is longer

// "-42.85229, 149.22748", "42.85229 S 149.22748 E", "42°51'08.3"S 149°13'38.9"E", "geo:-42.85,149.22" (RFC 5870).
// Returns [latitude, longitude] in degrees, or null for what is not two such numbers. "8+20.21" is a station. A minus
// sign as printed texts have it, which a copy from one brings along, is a minus.
export function positionNamed(text) {
  if (text.length > LONGEST) return null;
  const plain = text.trim().replace(/[\u2212\u2013]/g, "-").replace(/^geo:([^,]*,[^,;?]*).*$/i, "$1");
  const form = FORMS.find((one) => one.test(plain));
  if (form === undefined) return null;
  const { groups } = form.exec(plain);
  const [latitude, longitude] = [angle(groups, 1, groups.north), angle(groups, 2, groups.east)];
  const fits = latitude !== null && longitude !== null && Math.abs(latitude) <= 90 && Math.abs(longitude) <= 180;
  return fits ? [latitude, longitude] : null;
}

// Null where a larger part has decimals although a smaller one follows, or a part is sixty or more.
function angle(groups, n, sign) {
  const parts = [groups["degrees" + n], groups["minutes" + n], groups["seconds" + n]].filter((part) => part !== undefined);
  if (parts.slice(0, -1).some((part) => part.includes(".")) || parts.slice(1).some((part) => Number(part) >= 60)) return null;
  const size = parts.reduce((sum, part, i) => sum + Number(part) / Math.pow(60, i), 0);
  return size > 0 && /[-SW]/i.test(sign) ? -size : size;
}
