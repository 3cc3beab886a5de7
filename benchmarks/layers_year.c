/* A plant-year in plain C over a store held as layers that move: a yardstick of march_speed.py.
 *
 * Not the march of the package over again, but what is least of one: layers from foot to top, draws, a machine that
 * charges in one pass by a map of its capacity and power, two sensors, a backup in the upper part, a loop that comes
 * back into the store, standby loss and conduction, marched from event to event. It leaves out frost, staging, timers,
 * rooms, ground and sewage, causes, draws by the second and the hours' accounts. march_speed.py checks that its year
 * closes.
 */

#include <math.h>
#include <string.h>

enum { ROOM = 512, FINE = 1024 }; /* places for layers on one line; pieces of them while heat is conducted */

static const double RHO_CP = 4.13e6;   /* J/m3/K */
static const double CONDUCTS = 0.64;   /* W/m/K, water */
static const double ALIKE = 0.05;      /* K: water that joins a layer */
static const double SHORTEST = 60.0;   /* s: events closer together are one */
static const double THIN = 0.02;       /* m: pieces at a steep place */
static const double GROWTH = 1.5;      /* of pieces away from it */
static const double STEEP = 0.5;       /* K between layers */

typedef struct {
    double volume, height, loss, room;           /* m3, m, W/K, degC */
    double setpoint, dead_band, start, stop;     /* degC, K, shares of the height from the foot */
    double loop_loss, loop_return, loop_port;    /* W, degC, share */
    double modules, lowest_source;               /* degC */
    double backup_power, backup_above;           /* W, share */
    long most;                                   /* layers */
} Plant;

typedef struct {
    const double *heat, *power;                  /* (side, side) by source and water, W */
    double source_low, water_low, step;          /* degC, degC, K */
    long side;
} Map;

typedef struct { double electricity, heat, backup, taps, loss, loop, change, events, layers; } Sums; /* J */

typedef struct {
    double volume[ROOM], warmth[ROOM];           /* m3, degC, foot to top */
    int low, count;                              /* where the foot lies, and how many */
} Store;

static void read_map(const Map *map, double source, double water, double *heat, double *power)
{
    double most = (double)map->side - 1.001;
    double x = fmin(fmax((source - map->source_low) / map->step, 0.0), most);
    double y = fmin(fmax((water - map->water_low) / map->step, 0.0), most);
    long a = (long)x, b = (long)y, at = a * map->side + b, next = at + map->side;
    double u = x - (double)a, v = y - (double)b;
    double low = (1.0 - u) * (1.0 - v), right = (1.0 - u) * v, up = u * (1.0 - v), far = u * v;
    *heat = low * map->heat[at] + right * map->heat[at + 1] + up * map->heat[next] + far * map->heat[next + 1];
    *power = low * map->power[at] + right * map->power[at + 1] + up * map->power[next] + far * map->power[next + 1];
}

/* Temperature at a level, and how far away that layer's ends are. */
static double at_level(const Store *store, double level, double *to_top, double *to_foot)
{
    double sum = 0.0;
    int k = store->low, last = store->low + store->count - 1;
    for (; k < last; k++) {
        if (sum + store->volume[k] > level) break;
        sum += store->volume[k];
    }
    *to_foot = level - sum;
    *to_top = sum + store->volume[k] - level;
    return store->warmth[k];
}

static void join(Store *store, int k, double volume, double warmth)
{
    double whole = store->volume[k] + volume;
    store->warmth[k] = (store->warmth[k] * store->volume[k] + warmth * volume) / whole;
    store->volume[k] = whole;
}

/* Water enters at a level: it joins a layer that is like it, or splits what it meets. */
static void insert(Store *store, double level, double volume, double warmth)
{
    int k = store->low, end = store->low + store->count;
    double sum = 0.0;
    while (k < end && sum + store->volume[k] <= level + 1e-15) sum += store->volume[k++];
    for (int j = k - 1; j <= k; j++)
        if (j >= store->low && j < end && fabs(store->warmth[j] - warmth) < ALIKE) {
            join(store, j, volume, warmth);
            return;
        }
    double below = level - sum;
    int more = k == end || below <= 1e-15 ? 1 : 2;
    size_t moved = (size_t)(end - k) * sizeof(double);
    memmove(store->volume + k + more, store->volume + k, moved);
    memmove(store->warmth + k + more, store->warmth + k, moved);
    if (more == 2) {
        store->volume[k + 2] -= below;
        store->volume[k] = below;
        store->warmth[k] = store->warmth[k + 2];
        k++;
    }
    store->volume[k] = volume;
    store->warmth[k] = warmth;
    store->count += more;
}

/* Take a volume from the top or the foot; its volume times temperature. */
static double take(Store *store, double volume, int from_top)
{
    double carried = 0.0;
    while (volume > 0.0 && store->count > 0) {
        int k = from_top ? store->low + store->count - 1 : store->low;
        double part = fmin(volume, store->volume[k]);
        carried += part * store->warmth[k];
        volume -= part;
        if (part < store->volume[k]) {
            store->volume[k] -= part;
            break;
        }
        store->count--;
        store->low += from_top ? 0 : 1;
    }
    return carried;
}

static void drop(Store *store, int k)
{
    size_t moved = (size_t)(store->low + store->count - 1 - k) * sizeof(double);
    memmove(store->volume + k, store->volume + k + 1, moved);
    memmove(store->warmth + k, store->warmth + k + 1, moved);
    store->count--;
}

/* Pool what lies upside down, then merge the neighbours that lose least until few enough are left. */
static void settle(Store *store, long most)
{
    int low = store->low, kept = low;
    for (int k = low; k < low + store->count; k++) {
        store->volume[kept] = store->volume[k];
        store->warmth[kept] = store->warmth[k];
        while (kept > low && store->warmth[kept] < store->warmth[kept - 1] - 1e-9) {
            join(store, kept - 1, store->volume[kept], store->warmth[kept]);
            kept--;
        }
        kept++;
    }
    store->count = kept - low;
    while (store->count > most) {
        double least = 1e99;
        int best = low;
        for (int k = low; k < low + store->count - 1; k++) {
            double apart = store->warmth[k + 1] - store->warmth[k];
            double lost = apart * apart * store->volume[k] * store->volume[k + 1];
            lost /= store->volume[k] + store->volume[k + 1];
            if (lost < least) {
                least = lost;
                best = k;
            }
        }
        join(store, best, store->volume[best + 1], store->warmth[best + 1]);
        drop(store, best + 1);
    }
}

/* Cut a layer of one temperature into pieces that are thin where it meets a steep step. */
static int cut(double height, int steep_below, int steep_above, double *piece)
{
    if (height <= 1.5 * THIN || !(steep_below || steep_above)) {
        piece[0] = height;
        return 1;
    }
    int count = 0;
    double reach = steep_below && steep_above ? 0.5 * height : height, done = 0.0, thick = THIN;
    while (done < reach - 1e-12) {
        double part = reach - done - thick < 0.5 * THIN ? reach - done : thick;
        piece[count++] = part;
        done += part;
        thick *= GROWTH;
    }
    if (steep_below && steep_above)
        for (int j = count - 1; j >= 0; j--) piece[2 * count - 1 - j] = piece[j];
    else if (steep_above)
        for (int i = 0, j = count - 1; i < j; i++, j--) {
            double swap = piece[i];
            piece[i] = piece[j];
            piece[j] = swap;
        }
    return steep_below && steep_above ? 2 * count : count;
}

/* Heat along the height over some seconds, implicit, on the pieces; what comes out alike is one layer again. */
static void conduct(Store *store, double area, double seconds)
{
    static double y[FINE], t[FINE], a[FINE], c[FINE], d[FINE];
    int pieces = 0, low = store->low, last = low + store->count - 1;
    for (int k = low; k <= last; k++) {
        int below = k > low && fabs(store->warmth[k] - store->warmth[k - 1]) > STEEP;
        int above = k < last && fabs(store->warmth[k + 1] - store->warmth[k]) > STEEP;
        int more = cut(store->volume[k] / area, below, above, y + pieces);
        for (int j = 0; j < more; j++) t[pieces++] = store->warmth[k];
    }
    double reach = CONDUCTS / RHO_CP * seconds, above = 0.0;
    for (int k = 0; k < pieces; k++) {
        double below = above;
        above = k < pieces - 1 ? reach / (0.5 * (y[k] + y[k + 1])) : 0.0;
        a[k] = 1.0 + (above + below) / y[k];
        c[k] = -above / y[k];
        d[k] = t[k];
        if (k > 0) {
            double w = -below / y[k] / a[k - 1];
            a[k] -= w * c[k - 1];
            d[k] -= w * d[k - 1];
        }
    }
    t[pieces - 1] = d[pieces - 1] / a[pieces - 1];
    for (int k = pieces - 2; k >= 0; k--) t[k] = (d[k] - c[k] * t[k + 1]) / a[k];
    int kept = 0;
    for (int k = 0; k < pieces; k++) {
        double *volume = store->volume + low, *warmth = store->warmth + low, here = y[k] * area;
        double apart = kept > 0 ? t[k] - warmth[kept - 1] : 1e9;
        double lost = kept > 0 ? apart * apart * here * volume[kept - 1] / (here + volume[kept - 1]) : 1e9;
        if (fabs(apart) < 0.3 || lost < 0.004 * area) {
            double whole = volume[kept - 1] + here;
            warmth[kept - 1] = (warmth[kept - 1] * volume[kept - 1] + t[k] * here) / whole;
            volume[kept - 1] = whole;
        } else {
            volume[kept] = here;
            warmth[kept++] = t[k];
        }
    }
    store->count = kept;
}

/* Keep room on both sides of the layers. */
static void centre(Store *store)
{
    if (store->low >= 8 && store->low + store->count < ROOM - 16) return;
    int to = (ROOM - store->count) / 2;
    size_t moved = (size_t)store->count * sizeof(double);
    memmove(store->volume + to, store->volume + store->low, moved);
    memmove(store->warmth + to, store->warmth + store->low, moved);
    store->low = to;
}

typedef struct { double source, mains, use; int charging, backing, permitted; } Now; /* use in m3/s */

/* From one event to the next, at most `left` seconds; how long it took. */
static double event(const Plant *plant, const Map *map, Store *store, Now *now, double left, Sums *sums)
{
    double volume = plant->volume, up_on, down_on, up_off, down_off, unused, u = now->use, cold = now->mains;
    double at_start = at_level(store, plant->start * volume, &up_on, &down_on);
    double at_stop = at_level(store, plant->stop * volume, &up_off, &down_off);
    double upper = at_level(store, plant->backup_above * volume, &unused, &unused);
    double on = plant->setpoint - plant->dead_band;
    now->charging = now->charging ? at_stop < plant->setpoint - 1.0 : at_start < on;
    now->backing = now->backing ? upper <= on - 2.0 : upper < on - 6.0;

    double machine = 0.0, cop = 1.0, heat, power, foot = store->warmth[store->low];
    if (now->charging && now->permitted && now->source >= plant->lowest_source) {
        double inlet = u > 0.0 ? cold : foot; /* what the taps draw passes the machine first */
        for (int turn = 0; turn < 4; turn++) {
            read_map(map, now->source, inlet, &heat, &power);
            machine = plant->modules * heat / (RHO_CP * fmax(plant->setpoint - inlet, 3.0));
            if (u <= 0.0 || machine <= u) break;
            inlet = (u * cold + (machine - u) * foot) / machine;
        }
        cop = heat / power;
    }
    double top = store->warmth[store->low + store->count - 1], round = 0.0;
    if (top > plant->loop_return + 0.5)
        round = plant->loop_loss / (RHO_CP * fmax(top - plant->loop_return, 2.0));

    double net = machine - u, dt = left; /* down through the store */
    if (net > 0.0) {
        dt = fmin(dt, store->volume[store->low] / net);
        if (up_off > 0.0) dt = fmin(dt, up_off / net);
        if (up_on > 0.0) dt = fmin(dt, up_on / net);
    } else if (net < 0.0) {
        dt = fmin(dt, store->volume[store->low + store->count - 1] / (round - net));
        dt = fmin(dt, fmin(down_on, down_off) / -net);
    }
    dt = fmin(left, fmax(dt, SHORTEST));

    double straight = fmin(machine, u) * dt, moved = fabs(net) * dt;
    double given = straight * (plant->setpoint - cold);
    sums->taps += RHO_CP * given;
    if (net > 0.0) {
        given += moved * plant->setpoint - take(store, moved, 0);
        insert(store, volume - moved, moved, plant->setpoint);
    } else if (net < 0.0) {
        sums->taps += RHO_CP * (take(store, moved, 1) - moved * cold);
        insert(store, 0.0, moved, cold);
    }
    sums->heat += RHO_CP * given;
    sums->electricity += RHO_CP * given / cop;
    if (round > 0.0) {
        double around = round * dt, hot = take(store, around, 1);
        double back = fmax(hot / around - plant->loop_loss * dt / (RHO_CP * around), plant->loop_return - 5.0);
        sums->loop += RHO_CP * (hot - around * back);
        insert(store, plant->loop_port * volume - around, around, back);
    }
    if (now->backing) {
        double warmed = 0.0;
        int k = store->low + store->count - 1;
        for (; k > store->low && warmed < (1.0 - plant->backup_above) * volume; k--) warmed += store->volume[k];
        for (int j = k + 1; j < store->low + store->count; j++)
            store->warmth[j] += plant->backup_power * dt / (RHO_CP * warmed);
        sums->backup += plant->backup_power * dt;
    }
    if (store->count > plant->most + 8) settle(store, plant->most);
    centre(store);
    sums->events += 1.0;
    return dt;
}

void year(const Plant *plant, const Map *map, const double *source, const double *mains, const double *use,
          const unsigned char *permitted, long hours, long parts, Sums *sums)
{
    Store store = {.low = ROOM / 2, .count = 1};
    store.volume[store.low] = plant->volume;
    store.warmth[store.low] = plant->setpoint;
    memset(sums, 0, sizeof(Sums));
    double lost_share = 1.0 - exp(-plant->loss * 3600.0 / (RHO_CP * plant->volume));
    Now now = {0.0, 0.0, 0.0, 0, 0, 0};
    for (long hour = 0; hour < hours; hour++) {
        now.source = source[hour];
        now.mains = mains[hour];
        now.permitted = permitted[hour % 24];
        for (long part = 0; part < parts; part++) {
            double left = 3600.0 / (double)parts;
            now.use = use[hour * parts + part] / left;
            while (left > 1e-6) left -= event(plant, map, &store, &now, left, sums);
        }
        for (int k = store.low; k < store.low + store.count; k++) {
            double fall = (store.warmth[k] - plant->room) * lost_share;
            sums->loss += RHO_CP * store.volume[k] * fall;
            store.warmth[k] -= fall;
        }
        settle(&store, plant->most);
        conduct(&store, plant->volume / plant->height, 3600.0);
        settle(&store, plant->most);
        centre(&store);
    }
    for (int k = store.low; k < store.low + store.count; k++)
        sums->change += RHO_CP * store.volume[k] * (store.warmth[k] - plant->setpoint);
    sums->layers = (double)store.count;
}
