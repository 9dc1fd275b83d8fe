// Distance and bearing on the ellipsoid, and coordinates in the forms that receivers and people use.

const A = 6378137, F = 1 / 298.257223563, E2 = F * (2 - F);  // WGS 84; GRS 80 differs by less than a millimetre here
const RADIAN = Math.PI / 180;

// Metres and degrees from true north, from one place to another: by the two radii of curvature at the middle latitude.
// Over the few kilometres that a crew walks this is good to a millimetre, and to one part in 100,000 over 50 km.
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

// "-42.85229, 149.22748", "42.85229 S 149.22748 E", "42°51'08.3"S 149°13'38.9"E", "geo:-42.85,149.22": latitude first,
// longitude second. Returns [latitude, longitude] in degrees, or null for what is not two such numbers: a comma or the
// letters of the winds show that a position is meant, or two numbers with decimals and a space. "8+20.21" is a station.
export function positionNamed(text) {
  const plain = text.trim().replace(/^geo:/i, "").replace(/[;?].*$/, "");
  const parts = plain.match(/[NSEW]?\s*[-+]?\d+(?:\.\d+)?(?:\s*[°d]\s*\d+(?:\.\d+)?(?:\s*['′m]\s*(?:\d+(?:\.\d+)?\s*(?:["″s]|''))?)?)?°?\s*[NSEW]?/gi);
  if (parts === null || parts.length !== 2 || plain.replace(/[^,]/g, "").length > 1) return null;
  if (plain.replace(parts[0], "").replace(parts[1], "").replace(/[\s,]/g, "") !== "") return null;
  if (!/,|[NSEW]/i.test(plain) && !/^-?\d+\.\d+\s+-?\d+\.\d+$/.test(plain)) return null;
  const [latitude, longitude] = [angle(parts[0], "NS"), angle(parts[1], "EW")];
  const fits = latitude !== null && longitude !== null && Math.abs(latitude) <= 90 && Math.abs(longitude) <= 180;
  return fits ? [latitude, longitude] : null;
}

function angle(text, letters) {
  const letter = (/[NSEW]/i.exec(text.replace(/[ds]/g, "")) || [""])[0].toUpperCase();
  if (letter !== "" && !letters.includes(letter)) return null;
  const numbers = text.match(/\d+(?:\.\d+)?/g).map(Number), [degrees, minutes = 0, seconds = 0] = numbers;
  if (minutes >= 60 || seconds >= 60) return null;
  const size = degrees + minutes / 60 + seconds / 3600;
  return text.includes("-") || letter === "S" || letter === "W" ? -size : size;
}
