// Pictures of every view, for the eyes: node tests/browser/look.mjs [light|dark] [width] [locale]
import { Stage, SHOTS } from './stage.mjs';
import { furnish, VIEWS, visit } from './views.mjs';

const [scheme = 'light', width = '390', locale = 'en-US', only = ''] = process.argv.slice(2);
const stage = await Stage.open();
const phone = await stage.phone(`look-${scheme}`, { scheme, width: Number(width), locale });
try {
  await phone.go();
  await phone.page.getByRole('button').first().waitFor();
  await phone.page.screenshot({ path: `${SHOTS}/door-${scheme}.png` });
  if (locale.startsWith('en')) await phone.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop' });
  await furnish(phone);
  await phone.view('family');
  await phone.page.locator('#invite').fill(await stage.invite());
  await phone.page.getByRole('button', { name: 'Join a server' }).tap();
  await phone.page.getByRole('button', { name: 'Invite someone' }).waitFor();
  for (const view of VIEWS.filter((one) => !only || one === only)) {
    await phone.page.locator(`main.view-${await visit(phone, view)} h1`).waitFor();
    await phone.page.waitForTimeout(300);
    if (view === 'gather') {
      for (const name of ['Add 12 eggs', 'Add 6 eggs', 'Add 1 egg']) await phone.page.getByRole('button', { name, exact: true }).tap();
    }
    if (view === 'pack') {
      await phone.page.locator('#weight').fill('2.05 2.1 2.12 2.08 2.2 2.15 2.18 2.11 2.07 2.09');
      await phone.page.getByRole('button', { name: 'Add', exact: true }).tap();
      await phone.page.waitForTimeout(500);
    }
    if (view === 'sink') await phone.page.getByRole('button', { name: 'basin' }).tap();
    if (view === 'family') await phone.page.getByRole('button', { name: 'Invite someone' }).tap();
    await phone.page.waitForTimeout(400);
    const name = view.replace('/', '-');
    await phone.page.screenshot({ path: `${SHOTS}/${name}-${scheme}.png` });
    await phone.page.screenshot({ path: `${SHOTS}/${name}-${scheme}-full.png`, fullPage: true });
  }
} catch (error) {
  console.error(error, phone.broken);
  await phone.page.screenshot({ path: `${SHOTS}/fail.png` });
}
await stage.close().catch((error) => console.error(String(error)));
