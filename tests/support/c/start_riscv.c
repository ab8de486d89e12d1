/* Start-up of an emulated RISC-V for tests: the self-test, what it said by a UART (16550 at
 * 0x10000000), and the end of the emulation (test device at 0x100000), as QEMU's `virt` has them.
 */
#include <stddef.h>
#include <stdint.h>

#include "fourvane_self_test.h"

#define PAINT UINT32_C(0xA5C3A5C3)

extern uint32_t stack_bottom[], bss_begin[], bss_end[];

static fv_steering steering;

static void write(const char *text)
{
    while (*text != '\0') {
        *(volatile uint8_t *)UINT32_C(0x10000000) = (uint8_t)*text++;
    }
}

#define STACK_POINTER(place) __asm__ volatile("mv %0, sp" : "=r"(place))
#define WRITE(text) write(text)
#define END() (*(volatile uint32_t *)UINT32_C(0x100000) = 0x5555u)

#include "self_tested.h"

void reset(void);

__attribute__((naked, section(".vectors"), used)) void entry(void)
{
    __asm__ volatile("la sp, stack_top\n j reset");
}

void reset(void)
{
    for (uint32_t *to = bss_begin; to < bss_end;) {
        *to++ = 0;
    }
    self_tested();
}
