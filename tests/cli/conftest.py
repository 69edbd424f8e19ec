"""Small logs for the command line."""

import pytest

INVERSION = """\
#tracelens 1
#clock hz=1000000 bits=32
#priority order=higher_first
#task id=t0 name=idle priority=0 idle=yes
#task id=t1 name=needle_select priority=3 deadline_us=40
#task id=t2 name=link priority=2
#task id=t3 name=archive priority=1
#lock id=m1 name=flash_bus protocol=none
time,core,event,subject,value
1000,0,start,t0,
1010,0,release,t3,
1010,0,start,t3,
1012,0,lock,t3,m1
1018,0,release,t1,
1018,0,start,t1,
1024,0,request,t1,m1
1024,0,wait,t1,m1
1025,0,start,t3,
1030,0,release,t2,
1032,0,start,t2,
1050,0,wait,t2,delay
1051,0,start,t3,
1058,0,unlock,t3,m1
1058,0,release,t1,
1059,0,start,t1,
1059,0,lock,t1,m1
1064,0,unlock,t1,m1
1066,0,wait,t1,delay
1067,0,start,t3,
1073,0,wait,t3,delay
1074,0,start,t0,
1090,0,mark,log_end,
"""
"""needle_select, released at 18 µs, waits from 24 to 58 µs for the lock that archive holds; link
runs from 32 to 50 µs in between. It ends at 66 µs: 48 µs after its release, 8 µs late."""


@pytest.fixture
def log(tmp_path):
    """A sound log with one late job and one priority inversion."""
    file = tmp_path / "run.csv"
    file.write_text(INVERSION, encoding="utf-8")
    return file


@pytest.fixture
def damaged(tmp_path):
    """The same with two lines that are no events."""
    file = tmp_path / "damaged.csv"
    lines = INVERSION.splitlines(keepends=True)
    lines[12:12] = ["%$!garbage\n", "1011,0,levitate,t3,\n"]
    file.write_text("".join(lines), encoding="utf-8")
    return file
