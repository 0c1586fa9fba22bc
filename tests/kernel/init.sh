#!/bin/bash
# The first process of the kernel that run.sh boots: file systems, CAN, the tests, and off.
cd "$(dirname "$0")/../.."
export PATH=$KERNEL_PATH HOME=/run TMPDIR=/run/tmp TERM=dumb NO_COLOR=1
mount -t proc proc /proc
mount -t sysfs sysfs /sys
mount -t tmpfs tmpfs /run
mkdir /run/tmp
modules=/usr/lib/uml/modules/$(uname -r)/kernel
for module in net/can/can net/can/can-raw drivers/net/can/dev/can-dev drivers/net/can/vcan net/can/j1939/can-j1939 \
  drivers/net/can/slcan/slcan; do
  insmod "$modules/$module.ko" || echo "no module $module"
done
ip link set lo up
# shellcheck disable=SC2086
$KERNEL_COMMAND 2>&1 </dev/null | cat
sync
# LINUX_REBOOT_CMD_POWER_OFF; `halt` is not everywhere.
python3 -c 'import ctypes; ctypes.CDLL(None).reboot(0x4321fedc)'
