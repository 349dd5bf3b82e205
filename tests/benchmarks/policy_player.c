/* The posterior search played against many virtual units, for the sweep over its constants (policy_engine.py).
 *
 * The arithmetic and the rules of the product's planner, written a second time in plain loops: a hundred times the units a
 * second. tests/search/test_policy_engine.py holds that it proposes what the product proposes, run for run. Tables
 * (grid, prior, hazards, survival) come from Python; nothing of the product depends on this file.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#ifdef __SSE__
#include <xmmintrin.h>
#endif

enum { COLS = 13, MOST = 128, LENGTHS = 11, PAD = 12, BINS = 4096 };
#define TINY 1e-9
#define NEVER 1e30

typedef struct {
    /* bench */
    double step, limit, typical, mttf, confidence, within, stride, crash_minutes, setup_minutes, soft_minutes, soft_share;
    double max_failures;
    /* constants */
    double run_spread, stray, doubt, plan_doubt, most_gain, crash_aversion, worth, unclaimed, soft_prior;
    double full_share, stride_minutes, careful_decades, careful_minutes, stock_minutes;
    double apart, agree, leap, sensible_minutes, sensible_runs, owed_minutes, most_hours;
    double few, shorter, late, rare, depths_after;
    /* grid */
    double cell, n, k, depths, most_depths, most_claims;
} Setup;

typedef struct {
    const Setup *p;
    const float *goal;     /* n */
    const float *prior;    /* n k, sums to 1 */
    const float *hazard;   /* depths n k */
    const float *survival; /* depths n k PAD */
    const float *minutes;  /* LENGTHS */
    const double *chi;     /* chdtri(2 f + 2, 1 - confidence), f = 0.. */
    int n, k;
} Model;

typedef struct {
    int count;
    double depth[MOST], minutes[MOST];
    int failed[MOST], timed[MOST], soft[MOST];
    float *factor[MOST][2]; /* likelihood over the grid: [0] timed, [1] not */
} Runs;

typedef struct { int out[MOST]; } Mask; /* 1: not believed */

static int counts(const Runs *r, int i) { return !r->failed[i] && r->minutes[i] >= 1.0 - TINY; }

static int bear_out(const Model *m, double hours, int failures) {
    const Setup *p = m->p;
    if (hours < p->mttf * -log1p(-p->confidence) * (1.0 - 1e-9)) return 0;
    return failures == 0 || 2.0 * hours / m->chi[failures < 20 ? failures : 20] >= p->mttf;
}

/* `doubts` of own_evidence.py */
static void doubts(const Model *m, const Runs *r, const Mask *given, int leaps, double apart, Mask *found) {
    const Setup *p = m->p;
    double first = NEVER, far = apart * p->typical;
    int failures = 0, order[MOST], c = 0;
    memset(found->out, 0, sizeof found->out);
    for (int i = 0; i < r->count; i++) {
        if (given && given->out[i] && !r->failed[i]) continue;
        order[c++] = i;
        if (r->failed[i]) { failures++; if (r->depth[i] < first) first = r->depth[i]; }
        if (r->depth[i] > p->limit + p->step + TINY) found->out[i] = 1;
    }
    for (int a = 1; a < c; a++) {
        int x = order[a], b = a;
        while (b > 0 && r->depth[order[b - 1]] < r->depth[x]) { order[b] = order[b - 1]; b--; }
        order[b] = x;
    }
    for (int a = 0; a < c; a++) {
        int i = order[a];
        if (found->out[i] || r->depth[i] <= first + far + TINY) continue;
        double held = 0;
        for (int b = 0; b < c; b++) {
            int j = order[b];
            if (!found->out[j] && !r->failed[j] && r->depth[j] >= r->depth[i] - TINY) held += r->minutes[j];
        }
        if (!bear_out(m, held / 60.0, failures)) found->out[i] = 1;
    }
    if (!leaps) return;
    double most = fmax(fmax(p->leap * p->typical, p->stride), p->step), deepest = 0.0;
    for (int a = 0; a < c; a++) {
        int i = order[a];
        if (found->out[i] || !counts(r, i)) continue;
        double depth = r->depth[i], hours = 0, next = 0;
        int near = 0;
        for (int b = 0; b < c; b++) {
            int j = order[b];
            if (found->out[j]) continue;
            if (!r->failed[j] && r->depth[j] >= depth - TINY) hours += r->minutes[j] / 60.0;
            if (r->failed[j] && r->depth[j] >= depth - TINY && r->depth[j] <= depth + most + TINY) near = 1;
        }
        for (int b = a + 1; b < c; b++)
            if (!found->out[order[b]] && counts(r, order[b])) { next = r->depth[order[b]]; break; }
        if (near || depth - next <= most + TINY || bear_out(m, hours, 0)) { deepest = depth; break; }
    }
    for (int a = 0; a < c; a++)
        if (!found->out[order[a]] && r->depth[order[a]] > deepest + most + TINY) found->out[order[a]] = 1;
}

static double deepest_of(const Runs *r, const Mask *mask, const Mask *given) {
    double deepest = -1;
    for (int i = 0; i < r->count; i++)
        if (!mask->out[i] && !(given && given->out[i]) && counts(r, i) && r->depth[i] > deepest) deepest = r->depth[i];
    return deepest;
}

static double whole(const Model *m, double depth) { return floor(depth / m->p->step + 1e-9) * m->p->step; }

static double knob_deepest(const Model *m) { return whole(m, m->p->limit); }

/* 0: a run is allowed; 1 faulty, 2 failures. ``given``: runs left out beforehand. */
static int allowed(const Model *m, const Runs *r, const Mask *given, double *ceiling) {
    const Setup *p = m->p;
    int failures = 0, stock = 0, last = -1;
    *ceiling = 0.0;
    for (int i = 0; i < r->count; i++) {
        if (given && given->out[i] && !r->failed[i]) continue;
        if (r->failed[i] && r->depth[i] <= TINY) return 1;
        failures += r->failed[i];
        stock |= counts(r, i) && r->depth[i] <= TINY;
    }
    if (failures >= p->max_failures) return 2;
    if (!stock) return 0;
    Mask mask;
    doubts(m, r, given, 0, p->apart, &mask);
    double deepest = fmax(deepest_of(r, &mask, given), 0.0), since = NEVER;
    for (int i = r->count - 1; i >= 0 && last < 0; i--) {
        if (given && given->out[i] && !r->failed[i]) continue;
        if (counts(r, i)) since = fmin(since, r->depth[i]);
        else if (r->failed[i] && !(since < r->depth[i] - TINY)) last = i;
    }
    if (last >= 0 && deepest < knob_deepest(m)) *ceiling = whole(m, deepest);
    else *ceiling = fmin(whole(m, deepest + p->stride), knob_deepest(m));
    return 0;
}

static float *factor_of(const Model *m, Runs *r, int i, int untimed) {
    const Setup *p = m->p;
    if (r->factor[i][untimed]) return r->factor[i][untimed];
    int size = m->n * m->k;
    float *f = malloc(sizeof(float) * size);
    const float *h = m->hazard + (size_t)llround(r->depth[i] / p->step) * size;
    float v = p->run_spread, t = r->minutes[i] / 60.0, most = 0;
    int timed = r->timed[i] && !untimed && t >= 10.0f / 3600.0f;
    if (r->failed[i] && t < 10.0f / 3600.0f) t = 10.0f / 3600.0f;
    float stray = p->stray, keep = 1.0f - stray;
    if (!r->failed[i])
        for (int j = 0; j < size; j++) f[j] = powf(1.0f + v * h[j] * t, -1.0f / v);
    else if (timed)
        for (int j = 0; j < size; j++) f[j] = keep * h[j] * powf(1.0f + v * h[j] * t, -1.0f / v - 1.0f) + stray / t;
    else
        for (int j = 0; j < size; j++) {
            float x = v * h[j] * t;
            float gone = x < 1e-3f ? h[j] * t * (1.0f - 0.5f * (1.0f + v) * h[j] * t) : 1.0f - powf(1.0f + x, -1.0f / v);
            f[j] = keep * gone + stray;
        }
    for (int j = 0; j < size; j++) most = f[j] > most ? f[j] : most;
    for (int j = 0; j < size; j++) f[j] /= most;
    return r->factor[i][untimed] = f;
}

/* A posterior and the runs that are in it, so that the next run is only multiplied in. */
typedef struct { float *weight; double *flat; int count, use[MOST]; } Product;

/* weight (n k) and flat (n), both summing to 1, of the runs that ``mask`` believes */
static void posterior(const Model *m, Runs *r, const Mask *given, const Mask *mask, Product *q) {
    int size = m->n * m->k, same = q->count <= r->count, use[MOST];
    float *weight = q->weight;
    for (int i = 0; i < r->count; i++) {
        int out = mask->out[i] || (given && given->out[i]);
        use[i] = out ? (r->failed[i] ? 2 : 0) : 1;
        if (i < q->count) same &= use[i] == q->use[i];
    }
    if (!same || q->count == 0) { q->count = 0; memcpy(weight, m->prior, sizeof(float) * size); }
    for (int i = q->count; i < r->count; i++) {
        q->use[i] = use[i];
        if (!use[i]) continue;
        const float *f = factor_of(m, r, i, use[i] == 2);
        float most = 0;
        for (int j = 0; j < size; j++) { float w = weight[j] * f[j]; weight[j] = w; most = w > most ? w : most; }
        float scale = 1.0f / most;
        for (int j = 0; j < size; j++) weight[j] *= scale;
    }
    q->count = r->count;
    double total = 0;
    for (int i = 0; i < m->n; i++) {
        float sum = 0;
        for (int j = 0; j < COLS; j++) sum += weight[i * COLS + j];
        q->flat[i] = sum;
        total += sum;
    }
    for (int i = 0; i < m->n; i++) q->flat[i] /= total;
    float scale = (float)(1.0 / total);
    for (int j = 0; j < size; j++) weight[j] *= scale;
}

static double quantile(const Model *m, const double *flat, double share) {
    double total = 0, half = 0.5 * m->p->cell;
    for (int i = 0; i < m->n; i++) {
        double before = total;
        total += flat[i];
        if (total >= share) {
            if (i == 0) return m->goal[0] + half;
            return m->goal[i - 1] + half + m->p->cell * (share - before) / fmax(total - before, 1e-300);
        }
    }
    return m->goal[m->n - 1] + half;
}

typedef struct { Product all, agreeing; float *weight; double *flat, *strict; int differs; } Belief;

static double below_failures(const Model *m, const Runs *r, const Mask *given) {
    double first = NEVER;
    for (int i = 0; i < r->count; i++) if (r->failed[i] && r->depth[i] < first) first = r->depth[i];
    if (first > 1e29) return NEVER;
    double best = -1;
    for (int i = 0; i < r->count; i++) {
        if (r->failed[i] || (given && given->out[i]) || r->depth[i] < first - TINY) continue;
        double hours = 0;
        int failures = 0;
        for (int j = 0; j < r->count; j++) {
            if (!r->failed[j] && !(given && given->out[j]) && r->depth[j] >= r->depth[i] - TINY) hours += r->minutes[j] / 60.0;
            failures += r->failed[j] && r->depth[j] <= r->depth[i] + TINY;
        }
        if (r->depth[i] > best && bear_out(m, hours, failures)) best = r->depth[i];
    }
    if (best >= 0) return best;
    return (ceil(first / m->p->step - TINY) - 1) * m->p->step;
}

static double sensibly_held(const Model *m, const Runs *r, const Mask *given, const Mask *agreeing) {
    double minutes = 0;
    int runs = 0, order[MOST], c = 0;
    for (int i = 0; i < r->count; i++)
        if (counts(r, i) && !agreeing->out[i] && !(given && given->out[i])) order[c++] = i;
    for (int a = 1; a < c; a++) {
        int x = order[a], b = a;
        while (b > 0 && r->depth[order[b - 1]] < r->depth[x]) { order[b] = order[b - 1]; b--; }
        order[b] = x;
    }
    for (int a = 0; a < c; a++) {
        minutes += r->minutes[order[a]];
        if (++runs >= m->p->sensible_runs && minutes >= m->p->sensible_minutes - TINY) return r->depth[order[a]];
    }
    return -1;
}

/* The claim at a doubt, -1: none; `owed` gets what the model would certify (`borne_by_model`). */
static double claim_at(const Model *m, const Runs *r, const Mask *given, const Mask *agreeing, const Belief *b,
                       double doubt, double deepest, double *owed) {
    double bound = quantile(m, b->flat, doubt);
    if (b->differs) bound = fmin(bound, quantile(m, b->strict, doubt));
    double below = below_failures(m, r, given), last = knob_deepest(m);
    if (owed) {
        double most = fmin(fmin(bound, deepest), fmin(below, last));
        *owed = deepest < 0 || most < 0 ? -1 : whole(m, most);
    }
    double held = sensibly_held(m, r, given, agreeing);
    if (held < 0) return -1;
    double most = fmin(fmin(bound, held), fmin(below, last));
    return most < 0 ? -1 : whole(m, most);
}


typedef struct {
    int count, list[64];
    double net[64][PAD], best_net;
} Look;
static float ever[BINS][PAD], dead[BINS][PAD];

static void look(const Model *m, const float *weight, const double *flat, double ceiling, double deepest, double share, double lambda, int most, Look *o) {
    const Setup *p = m->p;
    int n = m->n, k = m->k, lo = 0, hi = n - 1;
    double top = 0, shallow = quantile(m, flat, 0.02);
    for (int i = 0; i < n; i++) top = fmax(top, flat[i]);
    while (flat[lo] <= 1e-5 * top) lo++;
    while (flat[hi] <= 1e-5 * top) hi--;
    int rows = hi - lo + 1;
    double mass = 0;
    for (int i = lo; i <= hi; i++) mass += flat[i];
    int first = (int)ceil((fmin(shallow, ceiling) - TINY) / p->step), last = (int)llround(ceiling / p->step), count = 0;
    if (first < 0) first = 0;
    int all = last - first + 1;
    int *list = o->list;
    if (all > most)
        for (int i = 0; i < most; i++) {
            int x = first + (int)rint((double)(all - 1) * i / (most - 1));
            if (!count || list[count - 1] != x) list[count++] = x;
        }
    else for (int x = first; x <= last; x++) list[count++] = x;
    o->count = count;
    int claims = (int)llround(fmax(deepest, ceiling) / p->step), thin = (int)ceil(claims / p->most_claims);
    if (thin < 1) thin = 1;
    int start = (int)floor(m->goal[lo] / p->step) - 1;
    start = start < 0 ? 0 : start / thin * thin;
    double plan = fmin(p->doubt * (1.0 - p->confidence) * p->plan_doubt, 0.5);
    int deep = -1, c = 0;
    double claim[256];
    for (int x = start; x <= claims && c < 256; x += thin) {
        claim[c] = x * p->step;
        if (claim[c] <= deepest + TINY) deep = c;
        c++;
    }
    if (deep < 0) { claim[0] = 0; deep = 0; if (!c) c = 1; }
    /* rows shallower than each claim, and rows no deeper than it by the most that counts */
    int up_to[256], capped[256];
    double cap = p->most_gain * p->typical, low_goal = m->goal[lo];
    for (int x = 0, i = 0, j = 0; x < c; x++) {
        while (i < rows && m->goal[lo + i] <= claim[x]) i++;
        while (j < rows && m->goal[lo + j] <= claim[x] + cap) j++;
        up_to[x] = i;
        capped[x] = j;
    }
    float wrong = (float)(1.0 / plan - 1.0);
    double now = NEVER;
    for (int x = 0; x <= deep; x++) {
        double sum = 0;
        for (int i = 0; i < rows; i++) {
            double apart = fmin(m->goal[lo + i] - claim[x], cap);
            sum += flat[lo + i] / mass * (apart > 0 ? apart : -apart * wrong);
        }
        now = fmin(now, sum);
    }
    o->best_net = -NEVER;
    for (int d = 0; d < count; d++) {
        const float *table = m->survival + ((size_t)list[d] * n + lo) * k * PAD;
        const float *w = weight + (size_t)lo * k;
        float alive[PAD] = {0}, chance[PAD] = {0};
        float scale = (float)(1.0 / mass);
        memset(ever[0], 0, sizeof ever[0]);
        memset(dead[0], 0, sizeof dead[0]);
        for (int i = 0; i < rows; i++) { /* ever: summed chance to hold so long, dead: the same times goal depth */
            float sum[PAD] = {0}, g = (float)(m->goal[lo + i] - low_goal);
            for (int j = 0; j < COLS; j++) {
                float one = w[i * COLS + j];
                const float *s = table + ((size_t)i * COLS + j) * PAD;
                for (int t = 0; t < PAD; t++) sum[t] += one * s[t];
            }
            for (int t = 0; t < PAD; t++) {
                ever[i + 1][t] = ever[i][t] + sum[t] * scale;
                dead[i + 1][t] = dead[i][t] + sum[t] * scale * g;
            }
        }
        for (int t = 0; t < PAD; t++) alive[t] = ever[rows][t];
        for (int t = 0; t + 1 < PAD; t++) chance[t] = alive[t] - alive[t + 1];
        float lowest_held[PAD], lowest_dead[PAD];
        for (int t = 0; t < PAD; t++) lowest_held[t] = lowest_dead[t] = NEVER;
        double reach = fmax(list[d] * p->step, deepest);
        for (int x = 0; x < c; x++) {
            if (x > deep && claim[x] > reach + TINY) break;
            float h[PAD], at = (float)(claim[x] - low_goal), most = (float)cap;
            int i0 = up_to[x], i1 = capped[x];
            for (int t = 0; t < PAD; t++)
                h[t] = wrong * (at * ever[i0][t] - dead[i0][t]) + (dead[i1][t] - dead[i0][t])
                       - at * (ever[i1][t] - ever[i0][t]) + most * (ever[rows][t] - ever[i1][t]);
            for (int t = 1; t < PAD; t++) lowest_held[t] = fminf(lowest_held[t], h[t]);
            if (x > deep) continue;
            for (int t = 0; t + 1 < PAD; t++)
                lowest_dead[t] = fminf(lowest_dead[t], h[t] - h[t + 1] + (float)p->stray * chance[t] * h[0]);
        }
        double area = 0, gone = 0, before = 0;
        for (int t = 1; t <= LENGTHS; t++) {
            double minutes = m->minutes[t - 1];
            area += 0.5 * (alive[t - 1] + alive[t]) * (minutes - before);
            before = minutes;
            gone += chance[t - 1] * (1.0 + p->stray) * now - lowest_dead[t - 1];
            double worth = alive[t] * now - lowest_held[t] + gone;
            double fail = fmin(fmax(1.0 - alive[t], 0.0), 1.0), crash = fail * (1.0 - share) * p->crash_minutes;
            double price = p->setup_minutes + area + fail * share * p->soft_minutes + crash;
            double weighed = price + (p->crash_aversion - 1.0) * crash;
            o->net[d][t] = worth - lambda * weighed;
            o->best_net = fmax(o->best_net, o->net[d][t]);
        }
    }
}

static float then[BINS * 16];
static double then_flat[BINS];

/* What is left of the best run after an ending, times how likely that is. The ending is to hold for the length t, or (not
 * held) to fail between the lengths early and t. */
static double best_left(const Model *m, const Belief *b, int depth, int t, int early, int held, double ceiling, double deepest,
                        double share, double lambda) {
    int n = m->n, k = m->k, lo = 0, hi = n - 1;
    double total = 0, top = 0;
    for (int i = 0; i < n; i++) top = fmax(top, b->flat[i]);
    while (b->flat[lo] <= 1e-8 * top) then_flat[lo++] = 0;
    while (b->flat[hi] <= 1e-8 * top) then_flat[hi--] = 0;
    for (int i = lo; i <= hi; i++) {
        double sum = 0;
        const float *s = m->survival + ((size_t)depth * n + i) * k * PAD;
        for (int j = 0; j < k; j++) {
            float one = held ? s[j * PAD + t] : s[j * PAD + early] - s[j * PAD + t];
            float w = b->weight[i * k + j] * one;
            then[i * k + j] = w;
            sum += w;
        }
        then_flat[i] = sum;
        total += sum;
    }
    if (total < m->p->rare) return 0;
    float scale = (float)(1.0 / total);
    for (int i = lo; i <= hi; i++) then_flat[i] /= total;
    for (int j = lo * k; j < (hi + 1) * k; j++) then[j] *= scale;
    static Look o;
    look(m, then, then_flat, ceiling, deepest, share, lambda, (int)m->p->depths_after, &o);
    return total * fmax(o.best_net, 0.0);
}

/* The run to make; returns what is left of its worth and of the next run's. */
static double choose(const Model *m, const Belief *b, double ceiling, double deepest, int failures, int soft, double least,
                     double *at, double *length) {
    const Setup *p = m->p;
    static Look o;
    double share = (soft + p->soft_prior * p->soft_share) / (failures + p->soft_prior);
    double best = -NEVER, lambda = least / 60.0;
    int used[64] = {0}, few = (int)fmax(p->few, 1.0);
    look(m, b->weight, b->flat, ceiling, deepest, share, lambda, (int)p->most_depths, &o);
    for (int a = 0; a < few && a < o.count; a++) {
        double top = -NEVER;
        int d = -1, longest = 0;
        for (int x = 0; x < o.count; x++)
            for (int y = 1; y <= LENGTHS && !used[x]; y++)
                if (o.net[x][y] > top) { top = o.net[x][y]; d = x; longest = y; }
        used[d] = 1;
        double depth = o.list[d] * p->step, deeper = fmax(deepest, depth);
        for (int t = longest; t >= 1 && t >= longest - (int)p->shorter; t -= (int)p->shorter) {
            double left = o.net[d][t];
            if (p->few >= 1.0) {
                double up = whole(m, fmin(deeper + p->stride, knob_deepest(m)));
                left += best_left(m, b, o.list[d], t, 0, 1, up, deeper, share, lambda);
                if (failures + 1 < p->max_failures) {
                    int early = t > (int)p->late ? t - (int)p->late : 0;
                    left += best_left(m, b, o.list[d], t, early, 0, whole(m, deepest), deepest, share, lambda);
                    if (early) left += best_left(m, b, o.list[d], early, 0, 0, whole(m, deepest), deepest, share, lambda);
                }
            }
            if (left > best) { best = left; *at = depth; *length = m->minutes[t - 1]; }
        }
    }
    return best;
}

typedef struct { int stop, why; double depth, minutes; } Step;

static void believe(const Model *m, Runs *r, const Mask *given, Mask *mask, Mask *agreeing, Belief *b) {
    memset(mask->out, 0, sizeof mask->out);
    posterior(m, r, given, mask, &b->all);
    doubts(m, r, given, 1, m->p->agree, agreeing);
    b->differs = 0;
    for (int i = 0; i < r->count; i++) b->differs |= agreeing->out[i] && !(given && given->out[i]);
    if (b->differs) posterior(m, r, given, agreeing, &b->agreeing);
}

/* why: 1 faulty, 2 failures, 3 limit, 4 within, 5 worth; a run: 0 */
static Step propose(const Model *m, Runs *r, Belief *b, double spent_hours) {
    const Setup *p = m->p;
    Mask given, mask, agreeing;
    Step s = {0, 0, 0.0, p->stock_minutes};
    doubts(m, r, NULL, 1, p->apart, &given);
    double ceiling, hard, last = knob_deepest(m);
    int why = allowed(m, r, &given, &ceiling);
    if (why) { s.stop = 1; s.why = why; }
    int stock = 0, failures = 0, soft = 0;
    for (int i = 0; i < r->count; i++) {
        stock |= !r->failed[i] && !given.out[i] && r->depth[i] <= 0;
        failures += r->failed[i];
        soft += r->failed[i] && r->soft[i];
    }
    believe(m, r, &given, &mask, &agreeing, b);
    if (!s.stop && !stock) return s;
    double deepest = deepest_of(r, &given, NULL), owed;
    double known = claim_at(m, r, &given, &agreeing, b, p->doubt * (1.0 - p->confidence), deepest, &owed);
    if (!s.stop) {
        double middle = fmin(quantile(m, b->flat, 0.5), last);
        double at = fmax(deepest, 0.0);
        if (known >= 0 && known >= last - TINY) { s.stop = 1; s.why = 3; }
        else if (known >= 0 && middle - known <= p->within) { s.stop = 1; s.why = 4; }
        else if (ceiling > at + TINY && !failures) {
            int full = at < p->full_share * p->limit - TINY;
            double stride = full ? p->stride : p->careful_decades * p->typical;
            double depth = floor((at + stride) / p->step + 1e-9) * p->step;
            if (depth <= at + TINY) depth = (floor(at / p->step + 1e-9) + 1) * p->step;
            s.depth = fmin(depth, ceiling);
            s.minutes = full ? p->stride_minutes : p->careful_minutes;
        } else {
            double least = p->worth * p->typical * (known >= p->step - TINY ? 1.0 : p->unclaimed);
            double left = choose(m, b, ceiling, at, failures, soft, least, &s.depth, &s.minutes);
            if (left < 0 || spent_hours > p->most_hours) { s.stop = 1; s.why = 5; }
        }
    }
    if (s.stop && !why && owed >= 0 && known < owed - TINY) {
        double there = 0;
        for (int i = 0; i < r->count; i++)
            if (counts(r, i) && !given.out[i] && r->depth[i] >= owed - TINY) there += r->minutes[i];
        s.stop = 0;
        s.depth = owed;
        s.minutes = fmax(p->sensible_minutes - there, p->owed_minutes);
    }
    if (s.stop) { s.depth = s.minutes = 0; return s; }
    if (allowed(m, r, NULL, &hard)) { s.stop = 1; s.why = 2; }
    s.depth = fmin(whole(m, fmax(s.depth, 0.0)), hard);
    return s;
}

/* ------------------------------------------------------------------------------------------------- virtual units */

enum { EDGE, PER_DECADE, BACKGROUND, SHAPE, WARM, SWING, PHASE, MISLOGGED, LATE, SOFT, JITTER, HARSH, MOST_PER_HOUR, FIELDS };
enum { L_TARGET, L_STRAY, L_JITTER, L_PHASE, L_SOFT, L_MISLOGGED, LUCK };

static double hours_to_failure(const double *u, double depth, double minutes, double session, const double *luck) {
    double target = luck[L_TARGET], found, stray = u[BACKGROUND] > 0 ? luck[L_STRAY] / u[BACKGROUND] : NEVER;
    depth += u[JITTER] * luck[L_JITTER];
    double rate = fmin(pow(10.0, fmin((depth - u[EDGE]) / u[PER_DECADE], 12.0)), u[MOST_PER_HOUR]);
    if (u[SHAPE] != 1.0) found = pow(target, 1.0 / u[SHAPE]) / (rate * tgamma(1.0 + 1.0 / u[SHAPE]));
    else if (u[WARM] != 0 || u[SWING] != 0) {
        double total = 0;
        found = NEVER;
        for (int i = 0; i < ceil(minutes / 0.5); i++) {
            double clock = session + (i + 0.5) * 0.5;
            double shift = u[WARM] * (1.0 - exp(-clock / 15.0)) + u[SWING] * sin(2.0 * M_PI * clock / 50.0 + u[PHASE]);
            double add = pow(10.0, fmin((depth + shift - u[EDGE]) / u[PER_DECADE], 12.0)) * 0.5 / 60.0;
            if (total + add >= target) { found = (i + (target - total) / add) * 0.5 / 60.0; break; }
            total += add;
        }
    } else if (u[HARSH] != 0) {
        double mild = pow(10.0, fmin((depth - u[EDGE]) / u[PER_DECADE], 12.0)) / 60.0;
        double harsh = pow(10.0, fmin((depth + u[HARSH] - u[EDGE]) / u[PER_DECADE], 12.0)) / 60.0;
        double began = 10.0 * luck[L_PHASE], calm = 9.0, cycle = mild * calm + harsh * 1.0;
        double before = mild * fmin(began, calm) + harsh * fmax(began - calm, 0.0);
        double full = floor((target + before) / cycle), left = target + before - full * cycle;
        double inside = left <= mild * calm ? left / mild : calm + (left - mild * calm) / harsh;
        found = (full * 10.0 + inside - began) / 60.0;
    } else found = target / rate;
    found = fmin(found, stray);
    return found * 60.0 < minutes ? found : NEVER;
}

static void clear(Runs *r) {
    for (int i = 0; i < r->count; i++)
        for (int j = 0; j < 2; j++) { free(r->factor[i][j]); r->factor[i][j] = NULL; }
    r->count = 0;
}

static Model model_of(const Setup *p, const float *goal, const float *prior, const float *hazard, const float *survival,
                      const float *minutes, const double *chi) {
    Model m = {p, goal, prior, hazard, survival, minutes, chi, (int)p->n, (int)p->k};
    return m;
}

static Product product_of(const Model *m) {
    Product q = {malloc(sizeof(float) * m->n * m->k), malloc(sizeof(double) * m->n), 0, {0}};
    return q;
}

static Belief belief_of(const Model *m) {
    Belief b = {product_of(m), product_of(m), NULL, NULL, NULL, 0};
    b.weight = b.all.weight;
    b.flat = b.all.flat;
    b.strict = b.agreeing.flat;
    return b;
}

static void done_with(Belief *b) {
    free(b->all.weight); free(b->all.flat); free(b->agreeing.weight); free(b->agreeing.flat);
}

/* Numbers too small to matter count as nothing, here alone: they would slow every product down. */
static unsigned flush_small(void) {
#ifdef __SSE__
    unsigned before = _mm_getcsr();
    _mm_setcsr(before | 0x8040);
    return before;
#else
    return 0;
#endif
}

static void as_before(unsigned before) {
#ifdef __SSE__
    _mm_setcsr(before);
#else
    (void)before;
#endif
}

/* units: count x FIELDS; luck: count x turns x LUCK; doubts: shares; out: count x (6 + doubts): hours, crashes, soft,
 * runs, why, depth, then the depth claimed at each doubt. */
enum { COLUMNS = 10 };
void play(const Setup *p, const float *goal, const float *prior, const float *hazard, const float *survival,
          const float *minutes, const double *chi, int count, const double *units, int turns, const double *luck,
          int shares, const double *share, double *out) {
    Model m = model_of(p, goal, prior, hazard, survival, minutes, chi);
    Belief b = belief_of(&m);
    unsigned before = flush_small();
    static Runs r;
    for (int u = 0; u < count; u++) {
        const double *unit = units + (size_t)u * FIELDS;
        double spent = 0, *o = out + (size_t)u * (COLUMNS + shares);
        int crashes = 0, softs = 0, why = 9;
        for (int turn = 0; turn < turns && turn < MOST - 1; turn++) {
            const double *l = luck + ((size_t)u * turns + turn) * LUCK;
            Step s = propose(&m, &r, &b, spent / 60.0);
            if (s.stop) { why = s.why; break; }
            double hours = hours_to_failure(unit, s.depth, s.minutes, spent + p->setup_minutes, l);
            int failed = hours < 1e29, late = unit[LATE] > 0, soft = failed && l[L_SOFT] < unit[SOFT];
            int told = failed != (l[L_MISLOGGED] < unit[MISLOGGED]);
            double lasted = !failed || late ? s.minutes : hours * 60.0;
            int i = r.count++;
            r.depth[i] = s.depth;
            r.failed[i] = told;
            r.minutes[i] = told ? lasted : s.minutes;
            r.timed[i] = told ? !late : 1;
            r.soft[i] = told && failed && soft;
            spent += p->setup_minutes + lasted;
            /* as play.py counts: a caught failure that is written down as held costs as a crash */
            if (failed && r.soft[i]) { softs++; spent += p->soft_minutes; }
            else if (failed) { crashes++; spent += p->crash_minutes; }
        }
        Mask given, mask, agreeing;
        doubts(&m, &r, NULL, 1, p->apart, &given);
        believe(&m, &r, &given, &mask, &agreeing, &b);
        double deepest = deepest_of(&r, &given, NULL);
        o[0] = spent / 60.0; o[1] = crashes; o[2] = softs; o[3] = r.count; o[4] = why;
        o[5] = why == 1 ? -1 : claim_at(&m, &r, &given, &agreeing, &b, p->doubt * (1.0 - p->confidence), deepest, NULL);
        o[6] = quantile(&m, b.flat, p->doubt * (1.0 - p->confidence)); o[7] = b.differs ? quantile(&m, b.strict, p->doubt * (1.0 - p->confidence)) : o[6];
        o[8] = quantile(&m, b.flat, 0.5); o[9] = fmin(sensibly_held(&m, &r, &given, &agreeing), below_failures(&m, &r, &given));
        for (int i = 0; i < shares; i++)
            o[COLUMNS + i] = why == 1 ? -1 : claim_at(&m, &r, &given, &agreeing, &b, share[i] * (1.0 - p->confidence), deepest, NULL);
        clear(&r);
        b.all.count = b.agreeing.count = 0;
    }
    as_before(before);
    done_with(&b);
}

/* One proposal on given runs, for the comparison with the product: out = stop, depth, minutes, claim. */
void propose_once(const Setup *p, const float *goal, const float *prior, const float *hazard, const float *survival,
                  const float *minutes, const double *chi, int count, const double *runs, double *out) {
    Model m = model_of(p, goal, prior, hazard, survival, minutes, chi);
    Belief b = belief_of(&m);
    unsigned before = flush_small();
    static Runs r;
    for (int i = 0; i < count; i++) {
        const double *one = runs + i * 5;
        r.depth[i] = one[0]; r.minutes[i] = one[1];
        r.failed[i] = one[2] != 0; r.timed[i] = one[3] != 0; r.soft[i] = one[4] != 0;
        r.count = i + 1;
    }
    Step s = propose(&m, &r, &b, 0.0);
    Mask given, mask, agreeing;
    doubts(&m, &r, NULL, 1, p->apart, &given);
    believe(&m, &r, &given, &mask, &agreeing, &b);
    out[0] = s.stop; out[1] = s.depth; out[2] = s.minutes;
    out[3] = claim_at(&m, &r, &given, &agreeing, &b, p->doubt * (1.0 - p->confidence), deepest_of(&r, &given, NULL), NULL);
    clear(&r);
    as_before(before);
    done_with(&b);
}
