// A farm with something in every view, made through the core, for looking at.

// A name after a slash is what the view is about; `record` stands for the latest round.
export const VIEWS = ['gather', 'bench', 'basket', 'sink', 'candle', 'pack', 'more/hold', 'more/reading', 'more/headcount', 'more/feed', 'more/supply',
  'shelf', 'stock', 'today', 'trends', 'record', 'review', 'family', 'settings'];

// Goes to a view, and gives its name as it stands in the page.
export async function visit(phone, view) {
  const to = view === 'record' ? `record/${(await phone.ask('list', { kind: 'gather', most: 1 }))[0].id}` : view;
  await phone.view(to);
  return view.split('/')[0];
}

export async function furnish(phone) {
  const home = await phone.ask('home');
  const { today } = home;
  const [north] = home.coops;
  const log = (drafts) => phone.ask('log', { drafts });
  const back = (days) => new Date(Date.parse(`${today}T12:00:00Z`) - days * 86_400_000);
  const day = (days) => back(days).toISOString().slice(0, 10);
  const [{ id: pond }] = await log([{ kind: 'coop', name: 'Pond house', species: ['duck', 'quail'] }]);
  await log([{ kind: 'outlet', name: 'Saturday stall' }, { kind: 'outlet', name: 'Neighbours' }]);
  for (let n = 13; n >= 1; n -= 1) {
    if (n === 6) continue;
    await log([
      { kind: 'gather', at: back(n).getTime(), coop: north.id, species: 'hen', count: 17 + ((n * 7) % 9), floor_laid: n % 3 },
      { kind: 'gather', at: back(n).getTime(), coop: pond, species: 'duck', count: 5 + (n % 4) },
    ]);
  }
  const lots = (species, from, to) => Object.fromEntries(Array.from({ length: from - to + 1 }, (_, i) => from - i).filter((n) => n !== 6).map((n) => [`${day(n)}/${species}`, 12]));
  // Twelve eggs of each of some days were cleaned dry, and most of them packed.
  await log([
    { kind: 'wash', at: back(2).getTime(), parts: lots('hen', 12, 2), means: 'dry' },
    { kind: 'carton', at: back(2).getTime(), parts: lots('hen', 12, 9), from: 'clean', species: 'hen', eggs_per_carton: 12, cartons: 4, packed: day(2), size: 'large', best_by: day(-3) },
    { kind: 'carton', at: back(2).getTime(), parts: lots('hen', 8, 4), from: 'clean', species: 'hen', eggs_per_carton: 6, cartons: 8, packed: day(2), size: 'medium', best_by: day(-30) },
    { kind: 'wash', at: back(1).getTime(), parts: { [`${day(3)}/duck`]: 6 }, means: 'basin', egg_c: 18, water_start_c: 24, water_end_c: 21 },
    { kind: 'cull', at: back(1).getTime(), station: 'basket', parts: { [`${day(1)}/hen`]: 2 }, reason: 'dung', use: 'compost' },
    { kind: 'cull', station: 'basket', parts: { [`${day(1)}/hen`]: 1 }, reason: 'hairline_crack', use: 'home' },
    { kind: 'out', way: 'eaten', station: 'basket', parts: { [`${day(2)}/hen`]: 4 } },
    { kind: 'gather', coop: north.id, species: 'hen', count: 23, floor_laid: 2 },
    { kind: 'gather', coop: pond, species: 'duck', count: 7 },
  ]);
  const [{ id: cooler }] = await log([{ kind: 'cooler', name: 'Pantry fridge' }]);
  await log([{ kind: 'reading', cooler, air_c: 9.5 }, { kind: 'hold', from: day(1), until: day(-2), cause: 'medicine', coop: pond, given: 'wormer' }]);
  const loose = `${day(4)}/hen`;
  await log([{ kind: 'weigh', lot: loose, grams: [58.2, 60.1, 61.4] }]);
}
