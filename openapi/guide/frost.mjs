// Ask why there is no frost yet: frost.mjs
import { readFile } from "node:fs/promises";

const service = process.env.STILLPIPE ?? "http://127.0.0.1:8000";
const question = JSON.parse(await readFile("openapi/examples/frost-check-request.json", "utf-8"));
const reply = await fetch(`${service}/v1/frost-check`, {
  method: "POST",
  headers: {
    Authorization: `Bearer ${process.env.STILLPIPE_KEY ?? ""}`,
    "Content-Type": "application/json",
  },
  body: JSON.stringify({ ...question, elapsed: { value: 8, unit: "min" }, frost_seen: false }),
  signal: AbortSignal.timeout(60_000),
});
if (!reply.ok) throw new Error(await reply.text());
const found = await reply.json();
console.log(`${found.state}: frost was due after ${Math.round(found.frost_by.likely)} s`);
console.log(found.causes[0].first);
for (const reason of found.reasons) console.log(reason.text, reason.action);
