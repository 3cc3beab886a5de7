/*
 * The march of hpwhsim/plant/march.py as a plain C loop: the yardstick of march_speed.py.
 *
 * The same equations in the same order, in double precision; the sources and the reasons stand in the
 * Python files, function by function of the same name:
 *   hpwhsim/storage/tank.py      reconstruct ... level_of
 *   hpwhsim/heatpump/maps.py     place, look_up
 *   hpwhsim/plant/controls.py    next_call, modules_to_run, part_speed
 *   hpwhsim/plant/charging.py    charge, reheat, draw_back, refusal
 *   hpwhsim/plant/flows.py       draw, hot_needed, circulate
 *   hpwhsim/plant/draw_times.py  drawn_in, last_of
 *   hpwhsim/plant/march.py       may_switch, cause_of, march
 *
 * Volumes are counted in cells and heat in cell K. Temperatures in degC, times in s, powers in W.
 * The structs have the fields of the NamedTuples of the same name, in the same order, then the lengths.
 */
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#define RHO_CP (988.035 * 4181.3) /* J/m3K */
#define EDGE 0.1                  /* K */
#define SMALLEST_LIFT 3.0         /* K */
#define LONGEST_PART 60.0         /* s */

enum { NO_HEAT_PUMP, LOCK_OUT, SOURCE_TOO_COLD, WATER_TOO_WARM, CAPACITY, STARTING, NOT_CALLED };
enum { WORKS = -1 }; /* no cause to refuse */
enum { NONE, PARALLEL, SERIES };
enum { SINGLE, MULTI, WRAPPED };

struct column {
    double cell_volume;
    long mixed_cells;
    double diffusion;
    long passes;
    double fading;
    double room;
};

struct machine {
    const double *source_c, *water_in_c, *water_out_c;
    const double *capacity_w, *power_w; /* [n_source][n_in][n_out] */
    long n_source, n_in, n_out;
};

struct controls {
    double start_level, stop_level;
    double start_at, stop_at;
    double minimum_run, minimum_off, stage_delay;
};

struct plant {
    double step_seconds;
    struct column column;
    struct machine machine;
    long modules;
    long water_side;
    double outlet, rise;
    double return_port, condenser_cells; /* levels, cells */
    double highest_inlet;
    double turndown, coil; /* the coil is not read: fixed speed only */
    double fan_power, pump_power;
    double crankcase_power, crankcase_below, standby_power;
    double start_loss;
    double lowest_source;
    struct controls controls;
    long backup_mode;
    double backup_power, backup_efficiency, backup_electric;
    double backup_level;
    double backup_setpoint, backup_dead_band;
    double use_temperature, minimum_temperature;
    double loop_loss, loop_return, loop_ambient, loop_supply;
    double loop_port;
};

struct draws {
    const long *first;          /* [hours + 1]; 1: even through a step */
    const double *until, *flow; /* [stretch] */
    long n_first;
};

struct drive {
    const double *use;                                        /* [steps] */
    struct draws draws;
    const bool *permitted;                                    /* [day_steps] */
    const double *source, *mains;                             /* [hours] */
    const double *frost_capacity, *frost_power, *frost_drawn; /* [hours] */
    long steps, day_steps, hours;
};

struct scratch {
    double *slope, *lower, *upper; /* [cells] */
    double *below;                 /* [cells + 1] */
    double *new;                   /* [cells] */
    long *size;                    /* [cells] */
};

struct hourly { /* each [hours] unless said */
    double *heat_pump_heat, *defrost_heat, *heat_pump_energy;
    double *fan_energy, *pump_energy, *standby_energy;
    double *backup_heat, *backup_energy;
    double *taps_heat, *loop_heat, *storage_loss, *unmet;
    double *hot_volume, *short_volume;
    double *module_seconds, *run_seconds, *lockout_seconds, *edge_seconds;
    double *water_in_sum, *water_in_volume;
    double *store_top, *store_mean, *store_bottom;
    double *backup_seconds, *short_seconds; /* [cause][hours] */
    double *quarter_power;                  /* [4 * hours] */
    double *profile;                        /* [cells] */
};

/* Checked by the caller against its own idea of the layout. */
const size_t struct_sizes[] = {
    sizeof(struct plant), sizeof(struct drive), sizeof(struct scratch), sizeof(struct hourly),
};

static inline double min(double a, double b) { return a < b ? a : b; }
static inline double max(double a, double b) { return a > b ? a : b; }

/* ---- store ---- */

static void reconstruct(const double *temperature, long n, const struct scratch *s, double entering)
{
    double *slope = s->slope, *lower = s->lower, *upper = s->upper, *below = s->below;

    below[0] = 0.0;
    for (long i = 0; i < n; i++) {
        double here = temperature[i];
        below[i + 1] = below[i] + here;
        double left = here - (i > 0 ? temperature[i - 1] : entering);
        double right = (i < n - 1 ? temperature[i + 1] : here) - here;
        if (left * right <= 0.0) {
            slope[i] = 0.0;
        } else {
            double steepest = 2.0 * min(fabs(left), fabs(right));
            slope[i] = min(max(0.5 * (left + right), -steepest), steepest);
        }
    }
    double edge = 0.5 * (entering + temperature[0]) - slope[0] / 6.0;
    for (long i = 0; i < n; i++) {
        double here = temperature[i];
        double low = edge;
        if (i < n - 1)
            edge = here + 0.5 * (temperature[i + 1] - here) - (slope[i + 1] - slope[i]) / 6.0;
        else
            edge = here + slope[i] / 6.0;
        double high = edge;
        double span = high - low;
        double bend = span * (here - 0.5 * (low + high));
        if ((high - here) * (here - low) <= 0.0)
            low = high = here;
        else if (bend > span * span / 6.0)
            low = 3.0 * here - 2.0 * high;
        else if (bend < -span * span / 6.0)
            high = 3.0 * here - 2.0 * low;
        lower[i] = low;
        upper[i] = high;
    }
}

static double heat_below(const double *temperature, long n, const struct scratch *s, double z)
{
    long i = (long)z;
    if (i > n - 1)
        i = n - 1;
    double f = z - i;
    double low = s->lower[i], high = s->upper[i];
    double curve = 6.0 * temperature[i] - 3.0 * (low + high);
    return s->below[i] + f * (low + f * (0.5 * (high - low) + curve * (0.5 - f / 3.0)));
}

static double stirred_inflow(double volume, double inlet, double zone, double cells)
{
    if (cells <= 0.0)
        return volume * inlet;
    return inlet * volume + (zone - inlet) * cells * -expm1(-volume / cells);
}

static double drawn_heat(const double *temperature, long n, const struct scratch *s, double volume,
                         double inlet, long cells)
{
    double plug = n - cells;
    if (volume <= plug)
        return s->below[n] - heat_below(temperature, n, s, n - volume);
    double zone = cells > 0 ? s->below[cells] / cells : inlet;
    return s->below[n] - s->below[cells] + stirred_inflow(volume - plug, inlet, zone, cells);
}

static void shift(double *temperature, long n, const struct scratch *s, double rise, double inserted,
                  double port, double bottom_in, double inserted_in, double top_in, long cells,
                  double *out_bottom, double *out_top)
{
    const double *below = s->below;
    double above = rise + inserted;
    long stirred = rise > 0.0 ? cells : 0;
    double zone = stirred > 0 ? below[stirred] / stirred : bottom_in;
    double zone_end = stirred > 0 ? bottom_in + (zone - bottom_in) * exp(-rise / stirred) : bottom_in;
    double at_zone = below[stirred] - stirred_inflow(max(rise, 0.0), bottom_in, zone, stirred);
    double at_port = heat_below(temperature, n, s, port);
    double lowest = min(0.0, rise);
    double highest = max(n, n + above);
    double previous = 0.0;

    *out_bottom = *out_top = 0.0;
    for (long j = -1; j < n + 2; j++) {
        double x, heat;
        if (j < 0)
            x = lowest;
        else if (j > n)
            x = highest;
        else
            x = j;
        if (rise > 0.0 && x < stirred)
            heat = at_zone - (stirred - x) * zone_end;
        else if (rise > 0.0 && x < stirred + rise)
            heat = below[stirred] - stirred_inflow(stirred + rise - x, bottom_in, zone, stirred);
        else if (x <= port + rise)
            heat = heat_below(temperature, n, s, x - rise);
        else if (x <= port + above)
            heat = at_port + (x - port - rise) * inserted_in;
        else if (x <= n + above)
            heat = heat_below(temperature, n, s, x - above) + inserted * inserted_in;
        else
            heat = below[n] + inserted * inserted_in + (x - n - above) * top_in;
        if (j == 0)
            *out_bottom = heat - previous;
        else if (j > n)
            *out_top = heat - previous;
        else if (j > 0)
            s->new[j - 1] = heat - previous;
        previous = heat;
    }
    for (long i = 0; i < n; i++)
        temperature[i] = s->new[i];
}

static void settle(double *temperature, long n, const struct scratch *s)
{
    bool ordered = true;
    for (long i = 1; i < n; i++) {
        if (temperature[i] < temperature[i - 1]) {
            ordered = false;
            break;
        }
    }
    if (ordered)
        return;

    double *mean = s->new;
    long *size = s->size;
    long last = -1;
    for (long i = 0; i < n; i++) {
        last++;
        mean[last] = temperature[i];
        size[last] = 1;
        while (last > 0 && mean[last - 1] > mean[last]) {
            long total = size[last - 1] + size[last];
            mean[last - 1] = (mean[last - 1] * size[last - 1] + mean[last] * size[last]) / total;
            size[last - 1] = total;
            last--;
        }
    }
    long i = 0;
    for (long block = 0; block <= last; block++)
        for (long k = 0; k < size[block]; k++)
            temperature[i++] = mean[block];
}

static void conduct(double *temperature, long n, const struct column *column)
{
    for (long pass = 0; pass < column->passes; pass++) {
        double flow_below = 0.0;
        for (long i = 0; i < n - 1; i++) {
            double flow = column->diffusion * (temperature[i + 1] - temperature[i]);
            temperature[i] += flow - flow_below;
            flow_below = flow;
        }
        temperature[n - 1] -= flow_below;
    }
}

static double lose(double *temperature, long n, const struct column *column)
{
    double lost = 0.0;
    for (long i = 0; i < n; i++) {
        double change = (temperature[i] - column->room) * column->fading;
        temperature[i] -= change;
        lost += change;
    }
    return lost;
}

/* Mean of the cell that a level cuts above it, and volume above it; below it is like the cell beneath. */
static double above_level(const double *temperature, long n, double level, double *volume)
{
    long cell = (long)level;
    double below = level - cell, here = temperature[cell];

    *volume = 1.0 - below;
    if (below <= 0.0 || cell == 0 || cell == n - 1)
        return here;
    double upper = (here - below * temperature[cell - 1]) / (1.0 - below);
    return max(min(upper, temperature[cell + 1]), here);
}

static double heat_upper(double *temperature, long n, double level, double heat, double setpoint)
{
    long foot = (long)level, last = foot;
    double volume, pool = above_level(temperature, n, level, &volume);
    double room = volume * max(0.0, setpoint - pool);

    for (long i = foot + 1; i < n; i++)
        room += max(0.0, setpoint - temperature[i]);
    double taken = min(heat, room), left = taken;
    if (taken > 0.0) {
        double share = volume, before = pool;
        while (last + 1 < n) {
            double needed = volume * (temperature[last + 1] - pool);
            if (needed >= left)
                break;
            if (needed > 0.0) {
                left -= needed;
                pool = temperature[last + 1];
            }
            volume += 1.0;
            last++;
        }
        pool += left / volume;
        temperature[foot] += share * (pool - before);
        for (long i = foot + 1; i <= last; i++)
            temperature[i] = pool;
    }
    return taken;
}

/* Take `volume` at the level `low`, give it back below `high` at `returning` degC. */
static double pass_between(double *temperature, long n, const struct scratch *s, double low, double high,
                           double volume, double returning)
{
    double taken = heat_below(temperature, n, s, min(low + volume, high)) - heat_below(temperature, n, s, low);
    long first = (long)low, last = (long)ceil(high);
    if (last > n)
        last = n;
    double top = max(high - volume, low), previous = s->below[first];

    for (long j = first + 1; j <= last; j++) {
        double x = j, heat;
        if (x <= low)
            heat = heat_below(temperature, n, s, x);
        else if (x <= top)
            heat = heat_below(temperature, n, s, min(x + volume, high)) - taken;
        else if (x <= high)
            heat = heat_below(temperature, n, s, high) - taken + (x - top) * returning;
        else
            heat = heat_below(temperature, n, s, x) - taken + volume * returning;
        s->new[j - 1] = heat - previous;
        previous = heat;
    }
    for (long j = first; j < last; j++)
        temperature[j] = s->new[j];
    return taken;
}

static double at_height(const double *temperature, long n, double z)
{
    double x = min(max(z - 0.5, 0.0), n - 1.0);
    long i = (long)x;
    if (i > n - 2)
        i = n - 2;
    return temperature[i] + (x - i) * (temperature[i + 1] - temperature[i]);
}

static double level_of(const double *temperature, long n, double value)
{
    if (temperature[0] >= value)
        return 0.0;
    for (long i = 1; i < n; i++)
        if (temperature[i] >= value)
            return i + 0.5 - (temperature[i] - value) / (temperature[i] - temperature[i - 1]);
    return n;
}

/* ---- machine ---- */

static long place(const double *axis, long n, double value, double *share, bool *inside)
{
    long last = n - 1;
    double first = axis[0];
    *share = 0.0;
    if (last == 0) {
        *inside = isnan(first) || fabs(value - first) <= EDGE;
        return 0;
    }
    *inside = value >= first - EDGE && value <= axis[last] + EDGE;
    if (!(value > first))
        return 0;
    if (value >= axis[last]) {
        *share = 1.0;
        return last - 1;
    }
    long cell = (long)((value - first) / (axis[last] - first) * last);
    if (cell > last - 1)
        cell = last - 1;
    while (value < axis[cell])
        cell--;
    while (value > axis[cell + 1])
        cell++;
    *share = (value - axis[cell]) / (axis[cell + 1] - axis[cell]);
    return cell;
}

static void look_up(const struct machine *m, double source, double water_in, double water_out,
                    double *capacity, double *power, bool *inside)
{
    double u, v, w;
    bool in_source, in_inlet, in_outlet;
    long i = place(m->source_c, m->n_source, source, &u, &in_source);
    long j = place(m->water_in_c, m->n_in, water_in, &v, &in_inlet);
    long k = place(m->water_out_c, m->n_out, water_out, &w, &in_outlet);

    *capacity = *power = 0.0;
    for (int a = 0; a < 2; a++) {
        double share_a = a == 1 ? u : 1.0 - u;
        if (share_a == 0.0)
            continue;
        for (int b = 0; b < 2; b++) {
            double share_b = b == 1 ? v : 1.0 - v;
            if (share_b == 0.0)
                continue;
            for (int c = 0; c < 2; c++) {
                double share = share_a * share_b * (c == 1 ? w : 1.0 - w);
                if (share == 0.0)
                    continue;
                long at = ((i + a) * m->n_in + j + b) * m->n_out + k + c;
                *capacity += share * m->capacity_w[at];
                *power += share * m->power_w[at];
            }
        }
    }
    *inside = in_source && in_inlet && in_outlet;
}

/* ---- controls ---- */

static bool next_call(const struct controls *c, bool calling, double at_start, double at_stop)
{
    return calling ? at_stop < c->stop_at : at_start < c->start_at;
}

static long modules_to_run(const struct controls *c, long modules, bool calling, bool permitted,
                           long running, double since)
{
    if (!permitted)
        return 0;
    if (running > 0) {
        if (!calling)
            return since < c->minimum_run ? running : 0;
        if (c->stage_delay <= 0.0)
            return modules;
        long stages = 1 + (long)(since / c->stage_delay);
        return stages < modules ? stages : modules;
    }
    if (calling && since >= c->minimum_off)
        return c->stage_delay <= 0.0 ? modules : 1;
    return 0;
}

static double part_speed(const struct controls *c, double turndown, double front)
{
    double span = c->start_level - c->stop_level;
    if (span <= 0.0)
        return 1.0;
    return min(max((front - c->stop_level) / span, turndown), 1.0);
}

/* ---- flows ---- */

struct frosted {
    double capacity, power; /* over those of the map */
};

struct charged {
    double flow; /* NaN where the machine cannot work at all */
    double cop, duty;
    bool inside, reached;
};

static struct charged charge(const double *temperature, long n, const struct scratch *s,
                             const struct plant *p, double seconds, double modules, double source,
                             double mains, double cold, double deepest, struct frosted frosted)
{
    double to_cells = modules * seconds / (RHO_CP * p->column.cell_volume);
    double flow = 0.0, heat = 0.0, energy = 0.0, level = 0.0, left = 1.0;
    double end = min(deepest, n);
    bool inside = true, known = true;

    while (left > 1e-9) {
        double bound = min(floor(level + 1e-9) + 1.0, end);
        double below = temperature[(long)level < n - 1 ? (long)level : n - 1];
        if (bound - level > 1e-9) {
            below = heat_below(temperature, n, s, bound) - heat_below(temperature, n, s, level);
            below /= bound - level;
        } else if (cold <= 0.0) {
            break;
        }
        double inlet = cold > 0.0 ? mains : below;
        double rate = 0.0, capacity = 0.0, power = 0.0;
        for (int k = 0; k < 20; k++) {
            look_up(&p->machine, source, inlet, p->outlet, &capacity, &power, &known);
            capacity *= frosted.capacity;
            if (inlet > p->highest_inlet || p->outlet - inlet < SMALLEST_LIFT || isnan(capacity)) {
                if (flow == 0.0)
                    return (struct charged){NAN, 0.0, 0.0, known, false};
                return (struct charged){flow, heat / energy, 1.0 - left, inside, false};
            }
            double before = inlet;
            rate = capacity * to_cells + cold * (mains - below);
            rate /= max(p->outlet - below, 1e-6);
            if (rate <= cold) {
                rate = capacity * to_cells / (p->outlet - mains);
                inlet = mains;
            } else {
                inlet = (cold * mains + (rate - cold) * below) / rate;
            }
            if (fabs(inlet - before) < 1e-3)
                break;
        }
        inside = inside && known;
        double time = left;
        if (rate > cold) {
            if (bound - level <= 1e-9)
                break;
            double whole = (bound - level) / (rate - cold);
            time = min(left, whole);
            level = whole <= left ? bound : level + time * (rate - cold);
        }
        flow += time * rate;
        heat += time * rate * (p->outlet - inlet);
        energy += time * rate * (p->outlet - inlet) * frosted.power * power / capacity;
        left -= time;
    }
    bool reached = deepest < n && level >= end - 1e-9;
    if (flow <= 0.0)
        return (struct charged){0.0, 0.0, 0.0, inside, reached};
    return (struct charged){flow, heat / energy, 1.0 - left, inside, reached};
}

struct reheated {
    double heat; /* NaN where the machine cannot work */
    double energy, flow, inlet;
    bool inside;
};

/* Share of a cell that a wrapped condenser covers. */
static inline double covered(const struct plant *p, long cell)
{
    return min(max(p->condenser_cells - cell, 0.0), 1.0);
}

static struct reheated reheat(double *temperature, long n, const struct scratch *s, const struct plant *p,
                              double seconds, double modules, double source, struct frosted frosted)
{
    bool multi = p->water_side == MULTI;
    double to_cells = modules * seconds / (RHO_CP * p->column.cell_volume);
    double low = 0.0; /* the intake; the C loop has it at the bottom */
    double inlet = temperature[0], lacking = 0.0;
    if (!multi) {
        inlet = 0.0;
        for (long i = 0; i < n; i++) {
            double lacks = covered(p, i) * max(p->outlet - temperature[i], 0.0);
            lacking += lacks;
            inlet += lacks * temperature[i];
        }
        inlet = lacking > 0.0 ? inlet / lacking : p->outlet;
    }
    double rise = multi ? p->rise : 1.0;
    double flow = 0.0, heat = 0.0, power = 0.0;
    bool inside = true;

    for (int k = 0; k < (multi ? 10 : 1); k++) {
        double capacity;
        if (inlet > p->highest_inlet || inlet + rise > p->outlet + 0.1)
            return (struct reheated){NAN, 0.0, 0.0, inlet, true};
        look_up(&p->machine, source, inlet, inlet + rise, &capacity, &power, &inside);
        if (isnan(capacity))
            return (struct reheated){NAN, 0.0, 0.0, inlet, inside};
        heat = frosted.capacity * capacity * to_cells;
        if (multi) {
            flow = min(heat / rise, p->return_port - low);
            double before = inlet;
            inlet = heat_below(temperature, n, s, flow) / flow;
            if (fabs(inlet - before) < 1e-3)
                break;
        }
    }
    double energy = modules * seconds * frosted.power * power;
    if (!multi && heat > lacking) {
        energy *= lacking / heat;
        heat = lacking;
    }
    if (multi) {
        pass_between(temperature, n, s, low, p->return_port, flow, inlet + heat / flow);
    } else {
        for (long i = 0; i < n && covered(p, i) > 0.0; i++)
            temperature[i] += heat * covered(p, i) * max(p->outlet - temperature[i], 0.0) / lacking;
    }
    return (struct reheated){heat, energy, flow, inlet, inside};
}

static void draw_back(double *temperature, long n, const struct plant *p, double heat)
{
    if (p->water_side == WRAPPED) {
        for (long i = 0; i < n; i++)
            temperature[i] -= heat * covered(p, i) / p->condenser_cells;
    } else {
        double level = p->return_port - (p->water_side == MULTI ? 0.0 : 1.0);
        long cell = (long)level < n - 1 ? (long)level : n - 1, upper = cell + 1 < n - 1 ? cell + 1 : n - 1;
        double share = level - cell;
        temperature[cell] -= (1.0 - share) * heat;
        temperature[upper] -= share * heat;
    }
}

struct drawn {
    double volume, shortage, missing;
};

static struct drawn draw(const double *temperature, long n, const struct scratch *s, const struct plant *p,
                         double use, double mains, double hot)
{
    struct drawn d = {0.0, 0.0, 0.0};
    double share = hot / use;
    double wanted = p->use_temperature - mains - share * (p->outlet - mains);
    double left = use, taken = 0.0;
    long k = 0, cells = p->column.mixed_cells;

    if (wanted <= 0.0)
        return d;
    while (left > 1e-12 * use) {
        double reached = drawn_heat(temperature, n, s, k + 1.0, mains, cells);
        double parcel = reached - taken;
        double served;
        if ((parcel - mains) * (1.0 - share) >= wanted) { /* the valve mixes */
            served = (parcel - mains) / wanted;
            if (served >= left) {
                double part = min(1.0, left / served);
                for (int pass = 0; pass < 4; pass++) {
                    double gap = drawn_heat(temperature, n, s, k + part, mains, cells) - taken;
                    part -= (gap - part * mains - left * wanted) / (parcel - mains);
                    part = min(max(part, 0.0), 1.0);
                }
                d.volume += part;
                return d;
            }
            d.volume += 1.0;
        } else { /* the valve stands open */
            served = 1.0 / (1.0 - share);
            if (k > n && parcel - mains < 1e-9)
                served = left;
            served = min(served, left);
            d.volume += served * (1.0 - share);
            double at_tap = share * p->outlet + (1.0 - share) * parcel;
            at_tap = min(p->use_temperature, at_tap);
            d.missing += served * (p->use_temperature - at_tap);
            if (at_tap < p->minimum_temperature)
                d.shortage += served;
        }
        left -= served;
        taken = reached;
        k++;
    }
    return d;
}

static double hot_needed(const struct plant *p, double use, double mains, double hot)
{
    if (use <= 0.0 || p->use_temperature <= mains)
        return 0.0;
    return use * (p->use_temperature - mains) / (max(hot, p->use_temperature) - mains);
}

/* A tempering valve ahead of the loop is left out. */
static double loop_reach(const struct plant *p, double supply)
{
    return max(supply - p->loop_ambient, 0.0) / (p->loop_supply - p->loop_ambient);
}

static double loop_volume(const struct plant *p, double supply, double reach, double loss)
{
    double returns = supply - (p->loop_supply - p->loop_return) * reach;
    return loss / max(supply - returns, 2.0);
}

struct moved {
    double heat, inlet, taps, taps_heat, loop_heat, added, shortage, missing;
};

static struct moved circulate(double *temperature, long n, const struct scratch *s, const struct plant *p,
                              double seconds, double use, double mains, double flow)
{
    const struct column *column = &p->column;
    double outlet = p->outlet;
    double joule = RHO_CP * column->cell_volume;
    double top = temperature[n - 1];
    double loop = 0.0, loop_loss = 0.0;
    double supply = flow > hot_needed(p, use, mains, top) ? outlet : top;

    if (p->loop_loss > 0.0) {
        double reach = loop_reach(p, supply);
        loop_loss = p->loop_loss * seconds / joule * reach;
        loop = loop_volume(p, supply, reach, loop_loss);
    }
    double need = hot_needed(p, use, mains, outlet);
    struct drawn d = {0.0, 0.0, 0.0};
    double taps, to_taps;
    if (flow >= need + loop) {
        taps = need;
        to_taps = need * outlet;
        supply = outlet;
    } else {
        double from_store = 0.0;
        double straight = flow * need / (need + loop);
        if (need > 0.0) {
            d = draw(temperature, n, s, p, use, mains, straight);
            from_store = drawn_heat(temperature, n, s, d.volume, mains, column->mixed_cells);
        }
        taps = d.volume + straight;
        to_taps = from_store + straight * outlet;
        if (loop > 0.0) {
            double from_top = d.volume + loop - (flow - straight);
            double rest = drawn_heat(temperature, n, s, from_top, mains, column->mixed_cells) - from_store;
            supply = (rest + (flow - straight) * outlet) / loop;
        }
    }
    double loop_return = loop > 0.0 ? supply - loop_loss / loop : 0.0;
    double out_bottom, out_top;
    shift(temperature, n, s, taps - flow, loop, p->loop_port, mains, loop_return, outlet,
          column->mixed_cells, &out_bottom, &out_top);
    double inlet = min(flow, taps) * mains + out_bottom;
    double leaving = out_top + min(flow, taps + loop) * outlet;
    if (loop == 0.0)
        to_taps = leaving;
    return (struct moved){
        .heat = flow * outlet - inlet,
        .inlet = inlet,
        .taps = taps,
        .taps_heat = to_taps - taps * mains,
        .loop_heat = leaving - to_taps - loop * loop_return,
        .added = 0.0, /* no heater in series */
        .shortage = d.shortage,
        .missing = d.missing,
    };
}

struct window {
    long hour, at;
    double since, until, use;
};

static double stretch(const struct draws *d, const struct window *w, long *at, double cell, double *flow)
{
    if (d->n_first == 1) {
        *flow = w->use / (w->until - w->since);
        return w->until;
    }
    *flow = d->flow[*at] / cell;
    if (*at < d->first[w->hour + 1] - 1 && d->until[*at] <= w->until)
        return d->until[(*at)++];
    return w->until;
}

static double drawn_in(const struct draws *d, const struct window *w, double cell, long *at)
{
    double use = 0.0, now = w->since, flow;
    *at = w->at;
    if (d->n_first == 1)
        return w->use;
    while (now < w->until) {
        double end = stretch(d, w, at, cell, &flow);
        use += flow * (end - now);
        now = end;
    }
    return use;
}

static double last_of(const struct draws *d, const struct window *w, double cell, double use, double part)
{
    double before = use - part, seconds = 0.0, taken = 0.0, now = w->since, flow;
    long at = w->at;
    while (now < w->until) {
        double end = stretch(d, w, &at, cell, &flow);
        if (flow > 0.0) {
            double more = flow * (end - now);
            double share = min((taken + more - before) / more, 1.0);
            if (share > 0.0)
                seconds += share * (end - now);
            taken += more;
        }
        now = end;
    }
    return seconds;
}

/* ---- march ---- */

static bool may_switch(const double *temperature, long n, const struct plant *p, double use, double mains,
                       bool calling)
{
    double top = temperature[n - 1];
    double moved = hot_needed(p, use, mains, top) + 1.0;

    if (p->loop_loss > 0.0) {
        double reach = loop_reach(p, top);
        double loss = reach * p->loop_loss * p->step_seconds / (RHO_CP * p->column.cell_volume);
        moved += loop_volume(p, top, reach, loss);
    }
    if (p->modules > 0 && !calling
        && level_of(temperature, n, p->controls.start_at) + moved >= p->controls.start_level)
        return true;
    if (p->backup_mode == PARALLEL)
        return level_of(temperature, n, p->backup_setpoint - p->backup_dead_band) + moved >= p->backup_level;
    return false;
}

static int cause_of(const struct plant *p, bool open_hour, int refused, long running, bool calling)
{
    if (p->modules == 0)
        return NO_HEAT_PUMP;
    if (running == 0 && !calling)
        return NOT_CALLED;
    if (!open_hour)
        return LOCK_OUT;
    if (refused != WORKS)
        return refused;
    return running == p->modules ? CAPACITY : STARTING;
}

/* Water that the machine gets in the coming `seconds`. */
static double entering_water(const struct plant *p, const double *temperature, long n, double use,
                             double mains, double source, double units, double seconds)
{
    double foot = temperature[0], capacity, power;
    bool known;

    if (p->water_side == MULTI)
        return foot;
    if (p->water_side == SINGLE) {
        if (use <= 0.0)
            return foot;
        look_up(&p->machine, source, foot, p->outlet, &capacity, &power, &known);
        if (isnan(capacity) || p->outlet - foot < 1.0)
            return min(mains, foot);
        double cold = hot_needed(p, use, mains, temperature[n - 1]);
        double heat = units * capacity * seconds / (RHO_CP * p->column.cell_volume);
        double flow = (heat + cold * (mains - foot)) / (p->outlet - foot);
        return flow <= cold ? mains : (cold * mains + (flow - cold) * foot) / flow;
    }
    double lacking = 0.0, inlet = 0.0;
    for (long i = 0; i < n; i++) {
        double lacks = covered(p, i) * max(p->outlet - temperature[i], 0.0);
        lacking += lacks;
        inlet += lacks * temperature[i];
    }
    return lacking > 0.0 ? inlet / lacking : p->outlet;
}

/* Why the machine cannot work with this source and this water. */
static int refusal(const struct plant *p, double source, double inlet)
{
    bool single = p->water_side == SINGLE, known;
    double rise = p->water_side == MULTI ? p->rise : 1.0, capacity, power;

    if (source < p->lowest_source)
        return SOURCE_TOO_COLD;
    double most = single ? p->outlet - SMALLEST_LIFT : p->outlet + 0.1 - rise;
    if (inlet > p->highest_inlet || inlet > most)
        return WATER_TOO_WARM;
    look_up(&p->machine, source, inlet, single ? p->outlet : inlet + rise, &capacity, &power, &known);
    if (!isnan(capacity))
        return WORKS;
    double coldest = p->machine.water_in_c[0];
    look_up(&p->machine, source, coldest, single ? p->outlet : coldest + rise, &capacity, &power, &known);
    return isnan(capacity) ? SOURCE_TOO_COLD : WATER_TOO_WARM;
}

void march(const struct plant *p, const struct drive *drive, double *temperature, long n,
           const struct scratch *s, const struct hourly *out)
{
    const struct column *column = &p->column;
    const struct controls *controls = &p->controls;
    long hours = drive->hours;
    long per_hour = drive->steps / hours;
    double joule = RHO_CP * column->cell_volume;
    long most_parts = (long)ceil(p->step_seconds / LONGEST_PART);
    bool calling = false, backup_on = false;
    long running = 0;
    double since = 1e9, warming = 0.0, rested = 1e9;
    double rest = max(controls->stage_delay, controls->minimum_off);
    int refused = WORKS;
    long at = 0;

    for (long step = 0; step < drive->steps; step++) {
        long hour = step / per_hour;
        long quarter = step * 4 / per_hour;
        double source = drive->source[hour], mains = drive->mains[hour];
        bool open_hour = drive->permitted[step % drive->day_steps];
        int barred = source >= p->lowest_source ? WORKS : SOURCE_TOO_COLD;
        bool permitted = open_hour && barred == WORKS;
        struct frosted frosted = {drive->frost_capacity[hour], drive->frost_power[hour]};
        double use = drive->use[step] / column->cell_volume;
        bool busy = running > 0 || backup_on || (calling && permitted);
        long parts = busy || may_switch(temperature, n, p, use, mains, calling) ? most_parts : 1;
        double even = use / parts;
        double dt = p->step_seconds / parts;
        double begin = step % per_hour * p->step_seconds;
        if (step % per_hour == 0 && drive->draws.n_first > 1)
            at = drive->draws.first[hour];

        for (long part = 0; part < parts; part++) {
            /* what taps draw */
            struct window window = {hour, at, begin + part * dt, begin + (part + 1) * dt, even};
            use = drawn_in(&drive->draws, &window, column->cell_volume, &at);

            /* sense and decide */
            long wanted = 0;
            if (p->modules > 0) {
                double at_start = at_height(temperature, n, controls->start_level);
                double at_stop = at_height(temperature, n, controls->stop_level);
                calling = next_call(controls, calling, at_start, at_stop);
                wanted = modules_to_run(controls, p->modules, calling, permitted, running, since);
                if (wanted > running && rested < rest)
                    wanted = running;
                else if (barred != WORKS)
                    refused = barred;
                else if (wanted > 0 || !calling)
                    refused = WORKS;
                if (wanted > running) {
                    double at = entering_water(p, temperature, n, use, mains, source, wanted, dt);
                    int why = refusal(p, source, at);
                    if (why != WORKS) {
                        refused = why;
                        wanted = running;
                    }
                }
            }

            /* take heat from the source */
            double entering = use > 0.0 && column->mixed_cells == 0 ? mains : temperature[0];
            reconstruct(temperature, n, s, entering);
            double flow = 0.0, cop = 0.0, duty = 0.0, heat = 0.0, inlet = 0.0, energy = 0.0;
            bool inside = true, stopped = false;
            if (wanted > running)
                warming += (wanted - running) * p->start_loss;
            double idle = min(warming, wanted * dt);
            warming = wanted > 0 ? warming - idle : 0.0;
            double heating = wanted > 0 ? dt - idle / wanted : 0.0;
            double speed = 1.0;
            if (wanted > 0 && p->turndown < 1.0)
                speed = part_speed(controls, p->turndown, level_of(temperature, n, controls->start_at));
            double units = wanted * speed, met = source;
            if (wanted > 0 && heating <= 0.0) {
                duty = 1.0; /* still starting */
            } else if (wanted > 0 && p->water_side != SINGLE) {
                struct reheated h = reheat(temperature, n, s, p, heating, units, met, frosted);
                heat = h.heat;
                energy = h.energy;
                flow = h.flow;
                inlet = h.inlet;
                inside = h.inside;
                if (isnan(heat)) {
                    heat = flow = 0.0;
                    stopped = true;
                } else {
                    duty = 1.0;
                    settle(temperature, n, s);
                    reconstruct(temperature, n, s, entering);
                }
            } else if (wanted > 0) {
                double cold = hot_needed(p, use, mains, temperature[n - 1]);
                double deepest = n;
                if (controls->minimum_run <= (running > 0 ? since : 0.0))
                    deepest = max(level_of(temperature, n, controls->stop_at) - controls->stop_level, 0.0);
                struct charged c = charge(temperature, n, s, p, heating, units, met, mains, cold, deepest,
                                          frosted);
                flow = c.flow;
                cop = c.cop;
                duty = c.duty;
                inside = c.inside;
                if (isnan(flow)) {
                    flow = 0.0;
                    stopped = true;
                } else if (c.reached) {
                    calling = false;
                }
            }
            if (stopped) {
                double at = entering_water(p, temperature, n, use, mains, met, units, heating);
                int why = refusal(p, met, at);
                refused = why != WORKS ? why : WATER_TOO_WARM;
                wanted = 0;
            }
            if (wanted < running && refused != WORKS)
                rested = 0.0;
            if ((wanted > 0) != (running > 0))
                since = 0.0;
            running = wanted;
            since += dt;
            rested += dt;

            /* draw, and settle */
            struct moved moved = circulate(temperature, n, s, p, dt, use, mains,
                                           p->water_side == SINGLE ? flow : 0.0);
            if (p->water_side == SINGLE && flow > 0.0) {
                heat = moved.heat;
                inlet = moved.inlet / flow;
                energy = heat * joule / cop;
            }
            double drawn = drive->frost_drawn[hour] * heat;
            if (drawn > 0.0)
                draw_back(temperature, n, p, drawn);
            settle(temperature, n, s);

            /* backup */
            double backup_heat = moved.added;
            if (p->backup_mode == PARALLEL) {
                double volume, sensed = above_level(temperature, n, p->backup_level, &volume);
                if ((long)p->backup_level < n - 1)
                    sensed = volume * sensed + (1.0 - volume) * temperature[(long)p->backup_level + 1];
                if (sensed < p->backup_setpoint - p->backup_dead_band)
                    backup_on = true;
                else if (sensed >= p->backup_setpoint)
                    backup_on = false;
                if (backup_on) {
                    double most = p->backup_power * dt / joule;
                    backup_heat = heat_upper(temperature, n, p->backup_level, most, p->backup_setpoint);
                    backup_on = backup_heat >= most;
                }
            }

            /* record */
            if (idle > 0.0 && wanted > 0) {
                double capacity, power;
                bool known;
                look_up(&p->machine, source, temperature[0], p->outlet, &capacity, &power, &known);
                energy += idle * (isnan(power) ? 0.0 : power);
            }
            double on = running * duty * dt;
            double fan = on * p->fan_power, pump = on * p->pump_power;
            double standing = p->standby_power;
            if (source < p->crankcase_below)
                standing += p->crankcase_power;
            double standby = (p->modules * dt - on) * standing;
            double backup_energy = backup_heat * joule / p->backup_efficiency;
            out->heat_pump_heat[hour] += (heat - drawn) * joule;
            out->defrost_heat[hour] += drawn * joule;
            out->heat_pump_energy[hour] += energy;
            out->fan_energy[hour] += fan;
            out->pump_energy[hour] += pump;
            out->standby_energy[hour] += standby;
            out->backup_heat[hour] += backup_heat * joule;
            out->backup_energy[hour] += backup_energy;
            out->taps_heat[hour] += moved.taps_heat * joule;
            out->loop_heat[hour] += moved.loop_heat * joule;
            out->unmet[hour] += moved.missing * joule;
            out->hot_volume[hour] += moved.taps * column->cell_volume;
            out->short_volume[hour] += moved.shortage * column->cell_volume;
            double electric = energy + fan + pump + standby + p->backup_electric * backup_energy;
            out->quarter_power[quarter] += electric;
            if (on > 0.0) {
                double weight = flow > 0.0 ? flow : heat;
                out->module_seconds[hour] += on;
                out->run_seconds[hour] += duty * dt;
                out->water_in_sum[hour] += inlet * weight;
                out->water_in_volume[hour] += weight;
                if (!inside)
                    out->edge_seconds[hour] += duty * dt;
            }
            if (calling && running == 0 && (refused != WORKS || !permitted))
                out->lockout_seconds[hour] += dt;
            if (backup_heat > 0.0 || moved.shortage > 0.0) {
                int cause = cause_of(p, open_hour, refused, running, calling);
                if (backup_heat > 0.0)
                    out->backup_seconds[cause * hours + hour] += backup_heat * joule / p->backup_power;
                if (moved.shortage > 0.0)
                    out->short_seconds[cause * hours + hour]
                        += last_of(&drive->draws, &window, column->cell_volume, use, moved.shortage);
            }
        }
        conduct(temperature, n, column);
        out->storage_loss[hour] += lose(temperature, n, column) * joule;
        settle(temperature, n, s);
        out->store_top[hour] = min(out->store_top[hour], temperature[n - 1]);
        if ((step + 1) % per_hour == 0) {
            double sum = 0.0;
            for (long i = 0; i < n; i++)
                sum += temperature[i];
            out->store_mean[hour] = sum / n;
            out->store_bottom[hour] = temperature[0];
        }
    }
    for (long i = 0; i < n; i++)
        out->profile[i] = temperature[i];
}
