/* Start-up of an emulated Cortex-M for tests: vectors, memory, the self-test, what it said by
 * semihosting, and the end of the emulation. "differ cycle word stack", stack in bytes.
 */
#include <stddef.h>
#include <stdint.h>

#include "fourvane_self_test.h"

#define PAINT UINT32_C(0xA5C3A5C3)

extern uint32_t stack_top[], stack_bottom[], data_begin[], data_end[], data_stored[], bss_begin[],
    bss_end[];

static fv_steering steering;

static void semihosted(uint32_t what, const void *with)
{
    register uint32_t r0 __asm__("r0") = what;
    register const void *r1 __asm__("r1") = with;
    __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
}

#define STACK_POINTER(place) __asm__ volatile("mov %0, sp" : "=r"(place))
#define WRITE(text) semihosted(4, text)
#define END() semihosted(0x18, (const void *)0x20026)

#include "self_tested.h"

void reset(void);
void fault(void);

void reset(void)
{
    const uint32_t *from = data_stored;
    for (uint32_t *to = data_begin; to < data_end;) {
        *to++ = *from++;
    }
    for (uint32_t *to = bss_begin; to < bss_end;) {
        *to++ = 0;
    }
    self_tested();
}

void fault(void)
{
    WRITE("fault\n");
    END();
    for (;;) {
    }
}

__attribute__((section(".vectors"), used)) static const void *const vectors[16] = {
    stack_top, (const void *)reset, (const void *)fault, (const void *)fault,
    (const void *)fault, (const void *)fault, (const void *)fault,
};
