//! What an operator asks for: taken, or refused and told with its reason.

use crate::decide::{Ctl, Cx, HeadStep, course};
use crate::event::{Event, Why, request_number};
use crate::io::{Contact, Request};
use crate::unit::{Command, Mode, UnitState, on_command};

/// Takes one request, or refuses it.
#[cold]
#[inline(never)]
pub(crate) fn request(ctl: &mut Ctl, cx: &mut Cx<'_>, request: Request) {
    let refused = match request {
        Request::Command(c) => command(ctl, cx, c),
        Request::Mode(mode) => change_mode(ctl, cx, mode),
        Request::Batch(n) => batch(ctl, cx, n),
        Request::Jog(a, pose) => in_mode(ctl, Mode::Manual).or_else(|| {
            ctl.jog.order(a, pose);
            None
        }),
        Request::JogSpin => in_mode(ctl, Mode::Manual).or_else(|| {
            ctl.jog.spin(cx.seen.now);
            None
        }),
        Request::JogBelt => in_mode(ctl, Mode::Manual).or_else(|| {
            if !cx.m.ours {
                return Some(Why::NotFitted);
            }
            ctl.jog.belt(cx.seen.now);
            None
        }),
        Request::Step => in_mode(ctl, Mode::Maintenance).or_else(|| {
            if ctl.head.dry {
                return Some(Why::NotEmpty);
            }
            ctl.head.step_asked = true;
            None
        }),
        Request::DryCycle => in_mode(ctl, Mode::Maintenance).or_else(|| {
            if ctl.head.step != HeadStep::Vacant {
                return Some(Why::NotEmpty);
            }
            ctl.head.dry = true;
            None
        }),
        Request::Declare(n) => declare(ctl, n),
    };
    if let Some(why) = refused {
        cx.tell.push(Event::refused(request_number(request), why));
    }
}

fn in_mode(ctl: &Ctl, mode: Mode) -> Option<Why> {
    if ctl.unit.mode != mode {
        Some(Why::WrongMode)
    } else if ctl.unit.state != UnitState::Execute {
        Some(Why::WrongState)
    } else {
        None
    }
}

/// Whether chain, guard, air and drive are as they must be for motion.
fn is_safe_to_go_on(cx: &Cx<'_>) -> bool {
    [Contact::Chain, Contact::Guard, Contact::Air, Contact::Drive]
        .into_iter()
        .all(|c| !cx.m.fitted.has(c) || cx.seen.is(c))
}

fn command(ctl: &mut Ctl, cx: &mut Cx<'_>, command: Command) -> Option<Why> {
    if on_command(ctl.unit.state, command).is_none() {
        return Some(Why::WrongState);
    }
    let goes_on = matches!(command, Command::Clear | Command::Reset | Command::Start | Command::Unhold);
    if goes_on && (!is_safe_to_go_on(cx) || !ctl.filter.failing().is_empty()) {
        return Some(Why::CauseLasts);
    }
    let lane = cx.m.fitted.has(Contact::RejectFull) && cx.seen.is(Contact::RejectFull);
    if command == Command::Unhold && lane {
        return Some(Why::CauseLasts);
    }
    if command == Command::Suspend && ctl.unit.mode != Mode::Production {
        return Some(Why::WrongMode);
    }
    ctl.command(cx, command, Why::Asked);
    None
}

fn change_mode(ctl: &mut Ctl, cx: &mut Cx<'_>, mode: Mode) -> Option<Why> {
    use UnitState as S;
    if !matches!(ctl.unit.state, S::Stopped | S::Idle | S::Aborted) {
        return Some(Why::WrongState);
    }
    if ctl.unit.mode != mode {
        // What hands and jogs did in another mode is not known.
        course::forget_inside(ctl);
        ctl.unit.homed = false;
        ctl.unit.mode = mode;
        cx.tell.push(Event::mode(mode));
    }
    None
}

fn batch(ctl: &mut Ctl, cx: &mut Cx<'_>, n: u32) -> Option<Why> {
    use UnitState as S;
    if !matches!(ctl.unit.state, S::Stopped | S::Idle | S::Completed) {
        return Some(Why::WrongState);
    }
    cx.book.batch = n;
    cx.book.batch_good = 0;
    None
}

fn declare(ctl: &mut Ctl, n: u8) -> Option<Why> {
    use UnitState as S;
    if !matches!(ctl.unit.state, S::Stopped | S::Idle | S::Aborted) {
        return Some(Why::WrongState);
    }
    ctl.unit.declared = ctl.unit.declared.saturating_add(u32::from(n)).min(ctl.unit.unknown);
    None
}
