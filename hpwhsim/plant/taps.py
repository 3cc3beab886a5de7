"""The draws of a window: even through five minutes, running and then resting, or to the second."""

from hpwhsim.kernel import kernel
from hpwhsim.plant.arrays import BackupMode, Drive, Plant
from hpwhsim.plant.charging import straight_through
from hpwhsim.plant.draw_times import Window, mean_use, stretch_at, taps_run
from hpwhsim.plant.events import LONGEST, MINUTE, MOST_MOVED, TINY, runs_out
from hpwhsim.plant.state import Course, Draw, Hour, Moment, Scene, Tap

SHORT_PART = 10.0  # s; where draws count by the second, while a machine's water may go straight to the taps
SERIES = int(BackupMode.SERIES)


@kernel
def course_of(plant: Plant, drive: Drive) -> Course:
    """What of a plant and its drive stays the same through the march."""
    bins = drive.use.size // drive.source.size
    tanked, series = plant.loop_tank.volume > 0.0, plant.backup_mode == SERIES
    return Course(
        straight=straight_through(plant),
        series=series,
        tanked=tanked,
        through=tanked and plant.loop_tank.through > 0.0 and not series,
        most=MOST_MOVED * plant.column.volume / plant.column.tanks,
        bins=bins,
        span=plant.step_seconds * drive.looks / bins,
    )


@kernel
def use_at(drive: Drive, course: Course, hour: int, now: float) -> tuple[float, int]:
    """Water at use temperature, even through its part of the hour [m³/s], and which part that is."""
    part = min(int((now + TINY) / course.span), course.bins - 1)
    return drive.use[hour * course.bins + part] / course.span, part


@kernel
def turn_taps(scene: Scene, hour: Hour, tap: Tap, now: float, running: int) -> Tap:
    """The draws of the part of the hour that begins: `running` modules take mains water while taps run."""
    plant, drive, course = scene.plant, scene.drive, scene.course
    even, part = use_at(drive, course, hour.number, now)
    end = (part + 1) * course.span
    by_second = drive.draws.first.size > 1 and (
        course.series or (not course.tanked and runs_out(plant, scene.layers, hour, even * course.span))
    )
    off, at = end, tap.at
    if course.straight and running > 0 and even > 0.0 and not by_second:
        # mains water mixes with the store's on its way to the machine while taps run
        run = taps_run(drive.draws, hour.number, now, end)
        even *= course.span / run
        off = now + run
    if by_second:
        at = stretch_at(drive.draws, hour.number, at, now)
    return Tap(at, even, by_second, end, off)


@kernel
def next_draw(scene: Scene, moment: Moment, tap: Tap, running: int) -> Draw:
    """The draw from a moment on, up to the end of the look at most."""
    drive, course, hour, now = scene.drive, scene.course, moment.hour.number, moment.now
    until = min(min(moment.step.end, tap.end), now + LONGEST)
    use, at = 0.0, -1
    if now < tap.off - TINY:
        use = tap.even
        until = min(until, tap.off)
    if tap.by_second:
        at = stretch_at(drive.draws, hour, tap.at, now)
        fine = SHORT_PART if course.straight and running > 0 else MINUTE
        window = Window(at, drive.draws.first[hour + 1] - 1, now, min(until, now + fine), use)
        use, until = mean_use(drive.draws, window, course.most)
    return Draw(use, now, until, at)


@kernel
def window_of(drive: Drive, draw: Draw, hour: int, end: float) -> Window:
    """A window, for a walk along its draws."""
    last = drive.draws.first[hour + 1] - 1 if draw.at >= 0 else 0
    return Window(draw.at, last, draw.since, end, draw.use)
