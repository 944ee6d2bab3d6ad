// Ask anew with everything seen on site so far: visit.mjs VISIT.json
import { readFile } from "node:fs/promises";

const service = process.env.STILLPIPE ?? "http://127.0.0.1:8000";

async function ask(estimate, body) {
  const reply = await fetch(`${service}/v1/${estimate}`, {
    method: "POST",
    headers: {
      Authorization: `Bearer ${process.env.STILLPIPE_KEY ?? ""}`,
      "Content-Type": "application/json",
    },
    body: JSON.stringify(body),
    signal: AbortSignal.timeout(60_000),
  });
  if (!reply.ok) throw new Error(await reply.text());
  return reply.json();
}

const visit = process.argv[2] ?? "openapi/examples/plug-time-observations.json";
const { observations: toCome, ...question } = JSON.parse(await readFile(visit, "utf-8"));
for (let count = 0; count <= toCome.length; count += 1) {
  const seen = toCome.slice(0, count);
  const body = count ? { ...question, observations: seen } : question;
  const { learned, planned_ready, reasons } = await ask("plug-time", body);
  const halting = reasons.filter(
    ({ code, severity }) => severity === "stop" || code === "observations-do-not-fit",
  );
  if (halting.length) {
    for (const { text, action } of halting) console.log(text, action);
    process.exit(1);
  }
  const cut = learned?.planned_ready_from_now ?? planned_ready;
  const kind = seen.at(-1)?.kind;
  console.log(`${kind ?? "arrival"}: cut in ${Math.round(cut.value)} s`);
  if (kind === "weight-drawn") {
    const cylinder = { id: "co2-9.1kg", temperature: { value: 18, unit: "degC" } };
    const held = await ask("cylinder-count", { ...body, cylinder, hold: { value: 3, unit: "h" } });
    for (const { cylinder: number, at } of held.exchanges) {
      const left = at.value - held.learned.now.value;
      if (left > 0) console.log(`cylinder ${number} is empty in ${Math.round(left / 60)} min`);
    }
  }
}
