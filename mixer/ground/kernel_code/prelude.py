"""What the kernels' C stands on: shifts, divisions and the long product, said once for every core.

Shifts to the left go through unsigned words; `//` rounds down. A Cortex-M0+ has no divide and no
long multiplication, and nothing is linked to the core.
"""

PRELUDE = """\
/* >> must keep the sign; a compiler where it does not stops here. */
typedef char shifts_keep_the_sign[(((int32_t)-1) >> 1) == -1 ? 1 : -1];

static inline int32_t shifted_up(int32_t x, int32_t bits)
{
    return (int32_t)((uint32_t)x << bits);
}

static inline int32_t least(int32_t a, int32_t b)
{
    return a < b ? a : b;
}

static inline int32_t most(int32_t a, int32_t b)
{
    return a > b ? a : b;
}

static inline int32_t magnitude(int32_t x)
{
    return x < 0 ? -x : x;
}

#ifdef __ARM_ARCH_6M__
/* No division in this core, and nothing linked in: thousandths by two multiplications, the second
 * for what the first leaves, which is below 64 000; the rest by digits. */
static inline uint32_t thousandth(uint32_t x)
{
    const uint32_t most = (x >> 15) * 33554u >> 10;
    return most + ((x - most * 1000u) * 67109u >> 26);
}

/* Nor a long multiplication: by halves of 14 bits. */
static inline int32_t product_shifted(int32_t a, int32_t b, int32_t bits)
{
    const int32_t top = (a >> 14) * (b >> 14);
    const int32_t low = ((a & 16383) * (b & 16383)) >> 14;
    const int32_t middle = low + (a & 16383) * (b >> 14) + (a >> 14) * (b & 16383);
    if (bits > 28) {
        return (top + (middle >> 14)) >> (bits - 28);
    }
    return shifted_up(top, 28 - bits) + (middle >> (bits - 14));
}

/* One digit of a division: what is left moves up, the divisor comes off where it fits, and a 1 goes
 * in below; less is the divisor in its place minus 1, so that one subtraction does both. */
#define DIGIT if ((x <<= 1) > less) { x -= less; }

static uint32_t by_digits(uint32_t x, uint32_t by)
{
    uint32_t less, result = 0, bits = 0;
    if (by < 32768 && x >> 16 < by) {
        less = (by << 16) - 1;
        DIGIT DIGIT DIGIT DIGIT DIGIT DIGIT DIGIT DIGIT
        DIGIT DIGIT DIGIT DIGIT DIGIT DIGIT DIGIT DIGIT
        return x & 0xffffu;
    }
    while (by <= x >> 1) {
        by <<= 1;
        bits += 1;
    }
    for (;; by >>= 1) {
        result <<= 1;
        if (x >= by) {
            x -= by;
            result += 1;
        }
        if (bits-- == 0) {
            return result;
        }
    }
}

static inline uint32_t quotient(uint32_t x, uint32_t by)
{
    if (by < 16777216 && x >> 7 < by) {  /* a digit of a share, where it stands */
        const uint32_t less = (by << 7) - 1;
        DIGIT DIGIT DIGIT DIGIT DIGIT DIGIT DIGIT
        return x & 0x7fu;
    }
    return by_digits(x, by);
}

/* Rounds down, for divisors above 0. */
static inline int32_t divided(int32_t x, int32_t by)
{
    if (x >= 0) {
        return (int32_t)quotient((uint32_t)x, (uint32_t)by);
    }
    return -1 - (int32_t)quotient((uint32_t)(-1 - x), (uint32_t)by);
}

/* The same by a number that stands in the text. */
static inline int32_t parted(int32_t x, int32_t by)
{
    return by == 1000 && x >= 0 ? (int32_t)thousandth((uint32_t)x) : divided(x, by);
}
#else
/* The low word of a product of two, shifted down by 1 to 31 bits. */
static inline int32_t product_shifted(int32_t a, int32_t b, int32_t bits)
{
    const uint64_t product = (uint64_t)((int64_t)a * b);
    return (int32_t)(((uint32_t)product >> bits) | ((uint32_t)(product >> 32) << (32 - bits)));
}

/* Rounds down, for divisors above 0; C's own division rounds towards 0. */
static inline int32_t divided(int32_t x, int32_t by)
{
    const int32_t towards_0 = x / by;
    return towards_0 - (x - towards_0 * by < 0);
}

/* The same by a number that stands in the text: where a compiler sees that x is not below 0 this is
 * one multiplication. */
static inline int32_t parted(int32_t x, int32_t by)
{
    return x >= 0 ? x / by : -1 - (-1 - x) / by;
}
#endif

static inline int32_t rest(int32_t x, int32_t by)
{
    return x - divided(x, by) * by;
}
"""
