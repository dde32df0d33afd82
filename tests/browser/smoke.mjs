import { Stage } from './stage.mjs';
const stage = await Stage.open();
try {
  const p = await stage.phone('one');
  await p.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop', birds: ['hen', 'duck'] });
  await p.page.screenshot({ path: 'target/browser-shots/smoke.png' });
  await p.page.getByRole('button', { name: 'Add 12 eggs' }).click();
  await p.page.getByRole('button', { name: /^Log 12/ }).click();
  await p.said('12 hen eggs from North coop logged.');
  await p.page.screenshot({ path: 'target/browser-shots/smoke2.png' });
  console.log(JSON.stringify(await p.ask('status')));
  console.log(p.broken, p.foreign);
} catch (e) { console.error(e); for (const p of stage.phones) { console.error(p.broken); await p.page.screenshot({ path: 'target/browser-shots/fail.png' }).catch(()=>{}); } }
await stage.close().catch((e) => console.error(String(e)));
